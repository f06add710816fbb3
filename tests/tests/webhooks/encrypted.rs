//! Over TLS: with a certificate that this machine trusts, and not with another.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::json;
use tubtrail_tests::{Backend, TestDatabase, TestServer, binary, world};

use super::receiver::Receiver;

/// An authority of the harbour's own, and a certificate of it for a server at 127.0.0.1.
fn certify(folder: &Path) {
    let openssl = |arguments: &[&str]| {
        let output = Command::new("openssl").current_dir(folder).args(arguments).output().expect("openssl runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    };
    let key = ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"];
    let authority = ["-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=Northquay harbour"];
    openssl(&[&key[..], &authority[..], &["-addext", "keyUsage=critical,keyCertSign"][..]].concat());
    let server =
        ["-keyout", "server.key", "-out", "server.pem", "-subj", "/CN=Bistro", "-CA", "ca.pem", "-CAkey", "ca.key"];
    let of_server = ["-addext", "basicConstraints=critical,CA:FALSE", "-addext", "subjectAltName=IP:127.0.0.1"];
    openssl(&[&key[..], &server[..], &of_server[..]].concat());
}

/// Our program where only one authority is trusted.
fn trusting(folder: &Path, authority: &str) -> std::path::PathBuf {
    let script = folder.join(format!("trusting-{authority}.sh"));
    let text = format!(
        "#!/bin/sh\nSSL_CERT_FILE={} exec {} \"$@\"\n",
        folder.join(authority).display(),
        binary::path().display()
    );
    std::fs::write(&script, text).expect("it can be written");
    std::fs::set_permissions(&script, std::fs::Permissions::from_mode(0o700)).expect("it is ours");
    script
}

#[test]
fn only_a_certificate_that_is_trusted_is_sent_to() {
    let database = TestDatabase::new(Backend::Sqlite);
    let folder = database.folder().to_owned();
    certify(&folder);
    std::fs::create_dir(folder.join("other")).expect("a folder");
    certify(&folder.join("other"));
    std::fs::rename(folder.join("other/ca.pem"), folder.join("other.pem")).expect("it is there");
    binary::add_user(&database, "owner", "Owner", &["owner"], world::PASSWORD);
    let in_folder = |name: &str| folder.join(name).to_str().expect("plain names").to_owned();
    let (certificate, key) = (in_folder("server.pem"), in_folder("server.key"));
    let mut receiver = Receiver::start_on(0, &[certificate.as_str(), key.as_str()]);
    let url = format!("https://127.0.0.1:{}/screen", receiver.port);
    for (authority, is_taken) in [("ca.pem", true), ("other.pem", false)] {
        let server = TestServer::start_program(&trusting(&folder, authority), &database, &["--webhooks-inside"]);
        let owner = world::sign_in(&server, "owner", world::PASSWORD);
        let code = authority.replace('.', "-");
        let new = json!({"code": code, "name": "Screen", "url": url, "events": ["hold.placed"]});
        let made = owner.post("/v1/webhooks", new).expect(201);
        receiver.answer("/screen", json!({"secrets": [made.json["secret"]]}));
        owner.post(&format!("/v1/webhooks/{code}/tests"), json!({})).expect(201).done();
        let began = Instant::now();
        let attempt = loop {
            let page = owner.get(&format!("/v1/webhooks/{code}/attempts")).expect(200);
            if let Some(attempt) = page.json["items"].as_array().and_then(|items| items.first()) {
                break attempt.clone();
            }
            assert!(began.elapsed() < Duration::from_secs(20), "nothing was tried");
            std::thread::sleep(Duration::from_millis(20));
        };
        assert_eq!(attempt["delivered"], is_taken, "{authority}: {attempt}");
        if is_taken {
            assert_eq!(receiver.request()["holds"], json!([true]));
        }
    }
    assert!(receiver.is_quiet(Duration::from_millis(200)));
}
