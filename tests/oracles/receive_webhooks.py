"""Receives webhooks on a port of its own and judges each with the library of Standard Webhooks.

Takes a port (0: any) and, for https, a certificate and its key. Says the port it listens on, then, for each request, a line
of JSON: what came, whether its signature holds, and what was answered. Lines of JSON on standard input say how a path
answers from then on: {"path", "secrets", "status", "say", "delay", "location", "retry_after"}. A "retry_after" of "date+N" is
the date N seconds from then.
"""

import json
import ssl
import sys
import threading
import time
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from standardwebhooks.webhooks import Webhook, WebhookVerificationError

ways = {}
speaking = threading.Lock()


def say(what):
    with speaking:
        print(json.dumps(what), flush=True)


def holds(secret, body, headers):
    try:
        Webhook(secret).verify(body, dict(headers))
        return True
    except WebhookVerificationError:
        return False


class Receiver(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        way = ways.get(self.path, {})
        headers = {name.lower(): value for name, value in self.headers.items()}
        told = {
            "path": self.path,
            "id": headers.get("webhook-id"),
            "signatures": len(headers.get("webhook-signature", "").split()),
            "holds": [holds(secret, body, headers) for secret in way.get("secrets", [])],
            "content_type": headers.get("content-type"),
            "body": json.loads(body),
            "status": way.get("status", 204),
        }
        say(told)
        time.sleep(way.get("delay", 0))
        answer = way.get("say", "").encode()
        self.send_response(told["status"])
        if "location" in way:
            self.send_header("Location", way["location"])
        if "retry_after" in way:
            _, _, seconds = way["retry_after"].partition("date+")
            asked = formatdate(time.time() + int(seconds), usegmt=True) if seconds else way["retry_after"]
            self.send_header("Retry-After", asked)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


class Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, *_):
        """Whoever hung up has hung up."""


server = Server(("127.0.0.1", int(sys.argv[1])), Receiver)
if len(sys.argv) > 2:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(sys.argv[2], sys.argv[3])
    server.socket = context.wrap_socket(server.socket, server_side=True)
threading.Thread(target=server.serve_forever, daemon=True).start()
say({"port": server.server_address[1]})
for line in sys.stdin:
    way = json.loads(line)
    ways.setdefault(way["path"], {}).update(way)
    say({"heard": way["path"]})
