//! An HTTP connection that costs next to nothing, so that what is measured is the server: blocking, kept alive, one request
//! at a time, no more of HTTP/1.1 than our server speaks.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::fd::{AsFd, BorrowedFd};

use super::Failure;

/// The status by which a server closes a connection on which nothing came in time.
const TOO_LATE: u16 = 408;

/// A connection to one server.
pub struct Wire {
    stream: BufReader<TcpStream>,
    address: String,
    always: String,
    line: String,
    request: Vec<u8>,
    body: Vec<u8>,
}

impl Wire {
    /// To `http://HOST:PORT`, with a bearer's token if need be.
    pub fn open(base: &str, token: Option<&str>) -> Result<Self, Failure> {
        let address = base.strip_prefix("http://").ok_or("a server's address begins with http://")?.to_owned();
        let bearer = token.map(|token| format!("Authorization: Bearer {token}\r\n")).unwrap_or_default();
        let always = format!("Host: {address}\r\n{bearer}");
        let stream = connect(&address)?;
        Ok(Self { stream, address, always, line: String::new(), request: Vec::new(), body: Vec::new() })
    }

    /// Asks for a path; the answer's body, whose status must be 200.
    pub fn get(&mut self, path: &str) -> Result<&[u8], Failure> {
        self.begin_get(path)?;
        self.answer(200)
    }

    /// Asks for a path; what is answered must be read before anything else is asked.
    pub fn begin_get(&mut self, path: &str) -> Result<(), Failure> {
        self.request.clear();
        write!(self.request, "GET {path} HTTP/1.1\r\n{}\r\n", self.always)?;
        self.send();
        Ok(())
    }

    /// Posts JSON under a key for retrying; the answer's body, whose status must be this one.
    pub fn post(&mut self, path: &str, key: &str, json: &str, status: u16) -> Result<&[u8], Failure> {
        self.begin_post(path, key, json)?;
        self.answer(status)
    }

    /// Posts JSON under a key for retrying; what is answered must be read before anything else is asked.
    pub fn begin_post(&mut self, path: &str, key: &str, json: &str) -> Result<(), Failure> {
        self.request.clear();
        write!(
            self.request,
            "POST {path} HTTP/1.1\r\n{}Idempotency-Key: {key}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\n\r\n{json}",
            self.always,
            json.len()
        )?;
        self.send();
        Ok(())
    }

    /// The answer's body, whose status must be this one. A server may have closed a connection that was idle meanwhile, with a
    /// word (408) or without: then it is asked once more on a new one.
    pub fn answer(&mut self, wanted: u16) -> Result<&[u8], Failure> {
        let status = match self.read_answer() {
            Ok(status) if status != TOO_LATE => status,
            _ => {
                self.stream = connect(&self.address)?;
                self.send();
                self.read_answer()?
            }
        };
        if status == wanted {
            return Ok(&self.body);
        }
        let request = String::from_utf8_lossy(&self.request);
        let asked = request.lines().next().unwrap_or_default();
        Err(format!("{asked}: {status} {}", String::from_utf8_lossy(&self.body)).into())
    }

    fn send(&mut self) {
        // On a connection that is closed nothing is answered either, and that is where it counts.
        drop(self.stream.get_mut().write_all(&self.request));
    }

    fn read_answer(&mut self) -> Result<u16, Failure> {
        self.body.clear();
        let status = self.next_line()?.split(' ').nth(1).ok_or("no status")?.parse()?;
        let (mut length, mut is_chunked) = (0, false);
        loop {
            let line = self.next_line()?;
            let Some((name, value)) = line.split_once(':') else { break };
            if name.eq_ignore_ascii_case("content-length") {
                length = value.trim().parse()?;
            } else if name.eq_ignore_ascii_case("transfer-encoding") {
                is_chunked = value.trim().eq_ignore_ascii_case("chunked");
            }
        }
        if !is_chunked {
            self.take(length)?;
            return Ok(status);
        }
        loop {
            let length = usize::from_str_radix(self.next_line()?, 16)?;
            self.take(length)?;
            self.next_line()?;
            if length == 0 {
                return Ok(status);
            }
        }
    }

    fn next_line(&mut self) -> Result<&str, Failure> {
        self.line.clear();
        if self.stream.read_line(&mut self.line)? == 0 {
            return Err("the server closed the connection".into());
        }
        Ok(self.line.trim_end())
    }

    fn take(&mut self, length: usize) -> Result<(), Failure> {
        let from = self.body.len();
        self.body.resize(from + length, 0);
        self.stream.read_exact(&mut self.body[from..])?;
        Ok(())
    }
}

impl AsFd for Wire {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.stream.get_ref().as_fd()
    }
}

fn connect(address: &str) -> Result<BufReader<TcpStream>, Failure> {
    let stream = TcpStream::connect(address)?;
    stream.set_nodelay(true)?;
    Ok(BufReader::with_capacity(64 * 1024, stream))
}
