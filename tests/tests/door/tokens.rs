//! Tokens that are not ours, or no longer.

use std::path::PathBuf;
use std::time::{SystemTime, UNIX_EPOCH};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ed25519_dalek::pkcs8::DecodePrivateKey;
use ed25519_dalek::{Signer, SigningKey};
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};
use tubtrail_tests::world::{PASSWORD, sign_in};
use tubtrail_tests::{Backend, World, binary, on_both};

on_both!(
    only_what_we_said_ourselves_is_believed,
    the_algorithm_is_not_the_tokens_to_choose,
    a_session_ends_when_its_time_is_over,
    keys_are_changed_while_the_server_runs,
    a_key_taken_away_takes_its_sessions_along,
);

/// The server's own key, its id, and a token it gave out, taken apart.
struct Forger {
    world: World,
    key: SigningKey,
    header: Value,
    claims: Value,
}

impl Forger {
    fn new(backend: Backend) -> Self {
        let world = World::open(backend);
        let [file] = keys(&world).try_into().expect("one key was made");
        let key = SigningKey::from_pkcs8_pem(&std::fs::read_to_string(file).expect("it can be read")).expect("a key");
        let token = world.owner.token().expect("the owner is signed in");
        let parts: Vec<_> = token.split('.').map(|part| URL_SAFE_NO_PAD.decode(part).expect("base64url")).collect();
        let read = |part: &[u8]| serde_json::from_slice(part).expect("JSON");
        let (header, claims) = (read(&parts[0]), read(&parts[1]));
        Self { world, key, header, claims }
    }

    /// A token whose header and claims were changed, signed with the server's own key all the same.
    fn token(&self, header: &Value, claims: &Value) -> String {
        self.signed_by(&self.key, header, claims)
    }

    fn signed_by(&self, key: &SigningKey, header: &Value, claims: &Value) -> String {
        let message = unsigned(&changed(&self.header, header), &changed(&self.claims, claims));
        let signature = key.sign(message.as_bytes()).to_bytes();
        format!("{message}.{}", URL_SAFE_NO_PAD.encode(signature))
    }

    #[track_caller]
    fn refused(&self, token: &str, word: &str, why: &str) {
        let answer = self.world.server.client().with_token(token).get("/v1/me");
        assert_eq!(answer.status, 401, "{why}: {}", answer.text());
        assert_eq!(answer.problem().kind(), word, "{why}");
    }
}

/// The files of the server's keys for sessions, in order.
fn keys(world: &World) -> Vec<PathBuf> {
    let folder = std::fs::read_dir(world.database.folder().join("keys")).expect("the keys lie there");
    let mut files: Vec<_> = folder.map(|entry| entry.expect("it can be read").path()).collect();
    files.retain(|file| file.extension().is_some_and(|extension| extension == "pem"));
    files.sort();
    files
}

/// An object with some members changed; null takes one away.
fn changed(object: &Value, change: &Value) -> Value {
    let mut object = object.as_object().expect("an object").clone();
    for (name, value) in change.as_object().expect("an object") {
        match value {
            Value::Null => object.remove(name),
            value => object.insert(name.clone(), value.clone()),
        };
    }
    object.into()
}

fn unsigned(header: &Value, claims: &Value) -> String {
    let encode = |value: &Value| URL_SAFE_NO_PAD.encode(value.to_string());
    format!("{}.{}", encode(header), encode(claims))
}

fn now() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).expect("it is after 1970").as_secs()
}

fn only_what_we_said_ourselves_is_believed(backend: Backend) {
    let forger = Forger::new(backend);
    let untouched = forger.token(&json!({}), &json!({}));
    forger.world.server.client().with_token(&untouched).get("/v1/me").expect(200).done();
    assert_eq!(forger.header["typ"], "tubtrail-session+jwt");
    let headers = [
        (json!({"typ": "JWT"}), "another sort of token"),
        (json!({"typ": null}), "no sort of token"),
        (json!({"kid": "../keys"}), "a key that is not there"),
        (json!({"kid": null}), "no key"),
    ];
    for (header, why) in headers {
        forger.refused(&forger.token(&header, &json!({})), "/problems/not-signed-in", why);
    }
    let claims = [
        (json!({"iss": "somebody"}), "by somebody else"),
        (json!({"aud": "somebody"}), "for somebody else"),
        (json!({"iss": null}), "by nobody"),
        (json!({"aud": null}), "for nobody"),
        (json!({"sub": null}), "of nobody"),
        (json!({"exp": null}), "without an end"),
        (json!({"iat": null}), "without a beginning"),
        (json!({"iat": now() + 3600}), "from the future"),
        (json!({"mark": null}), "without a mark"),
    ];
    for (claims, why) in claims {
        forger.refused(&forger.token(&json!({}), &claims), "/problems/not-signed-in", why);
    }
    let others = [
        (json!({"sub": "nobody"}), "of somebody there is not"),
        (json!({"mark": "0123456789abcdef"}), "from before another password"),
        (json!({"exp": now() - 60}), "from yesterday"),
    ];
    for (claims, why) in others {
        forger.refused(&forger.token(&json!({}), &claims), "/problems/session-over", why);
    }
}

fn the_algorithm_is_not_the_tokens_to_choose(backend: Backend) {
    let forger = Forger::new(backend);
    let other = SigningKey::from_bytes(&[7; 32]);
    forger.refused(&forger.signed_by(&other, &json!({}), &json!({})), "/problems/not-signed-in", "another key");
    for alg in ["none", "None", "NONE", "HS256", "ES256"] {
        let token = forger.token(&json!({ "alg": alg }), &json!({}));
        forger.refused(&token, "/problems/not-signed-in", alg);
    }
    let none = changed(&forger.header, &json!({"alg": "none"}));
    forger.refused(&format!("{}.", unsigned(&none, &forger.claims)), "/problems/not-signed-in", "no signature");
    // The old trick: the public key, taken for the secret of a symmetric signature.
    let header = Header {
        typ: Some("tubtrail-session+jwt".into()),
        kid: forger.header["kid"].as_str().map(Into::into),
        ..Header::new(Algorithm::HS256)
    };
    let secret = EncodingKey::from_secret(forger.key.verifying_key().as_bytes());
    let token = jsonwebtoken::encode(&header, &forger.claims, &secret).expect("it can be signed");
    forger.refused(&token, "/problems/not-signed-in", "HS256 with the public key");
    let good = forger.token(&json!({}), &json!({}));
    let (message, signature) = good.rsplit_once('.').expect("three parts");
    let swapped = changed(&forger.claims, &json!({"sub": "ownex"}));
    let tampered = format!("{}.{signature}", unsigned(&forger.header, &swapped));
    forger.refused(&tampered, "/problems/not-signed-in", "another's signature");
    for broken in [message.to_owned(), format!("{good}.x"), String::from("x"), "..".into(), good.replace('.', ",")] {
        forger.refused(&broken, "/problems/not-signed-in", &broken);
    }
    let client = forger.world.server.client();
    let basic = client.request("GET", "/v1/me").header("Authorization", "Basic b3duZXI6eA==").send();
    basic.refused(401, "/problems/not-signed-in");
    let answer = client.get("/v1/me");
    answer.refused(401, "/problems/not-signed-in");
    assert_eq!(answer.header("WWW-Authenticate"), Some("Bearer"));
}

/// A token that was good a moment ago is remembered; its end must be looked at all the same.
fn a_session_ends_when_its_time_is_over(backend: Backend) {
    let forger = Forger::new(backend);
    // Five seconds are allowed for clocks that lie apart: this one is over, and still taken for a moment.
    let token = forger.token(&json!({}), &json!({"exp": now() - 2}));
    let client = forger.world.server.client().with_token(&token);
    client.get("/v1/me").expect(200).done();
    std::thread::sleep(std::time::Duration::from_secs(5));
    forger.refused(&token, "/problems/session-over", "its time is over");
}

fn keys_are_changed_while_the_server_runs(backend: Backend) {
    let world = World::open(backend);
    let folder = world.database.folder().join("keys");
    let mut command = binary::command(binary::path());
    let output = command.args(["key", "add", "--keys"]).arg(&folder).output().expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let [old, new] = keys(&world).try_into().expect("two keys");
    world.server.hang_up();
    let id = |path: &PathBuf| path.file_stem().expect("a name").to_string_lossy().into_owned();
    let signed_with = |token: &str| {
        let header = URL_SAFE_NO_PAD.decode(token.split('.').next().expect("a header")).expect("base64url");
        serde_json::from_slice::<Value>(&header).expect("JSON")["kid"].as_str().expect("a key").to_owned()
    };
    assert_eq!(signed_with(world.owner.token().expect("a token")), id(&old));
    let began = std::time::Instant::now();
    loop {
        let again = sign_in(&world.server, "owner", PASSWORD);
        if signed_with(again.token().expect("a token")) == id(&new) {
            again.get("/v1/me").expect(200).done();
            break;
        }
        assert!(began.elapsed().as_secs() < 30, "the new key does not sign");
    }
    world.owner.get("/v1/me").expect(200).done();
}

fn a_key_taken_away_takes_its_sessions_along(backend: Backend) {
    let mut world = World::open(backend);
    world.owner.get("/v1/me").expect(200).done();
    let [key] = keys(&world).try_into().expect("one key");
    world.server.stop();
    std::fs::remove_file(key).expect("it can be removed");
    world.server.restart();
    let owner = world.owner.at(world.server.base());
    owner.get("/v1/me").refused(401, "/problems/not-signed-in");
    let [key] = keys(&world).try_into().expect("a key was made anew");
    let mode = std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(key).expect("it is there").permissions());
    assert_eq!(mode & 0o777, 0o600);
    sign_in(&world.server, "owner", PASSWORD).get("/v1/me").expect(200).done();
}
