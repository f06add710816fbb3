//! A blocking HTTP client that speaks JSON.

use std::time::Duration;

use serde::Serialize;
use serde_json::Value;
use ureq::http::{self, HeaderMap};

/// Speaks to one server, signed in or not. Cheap to clone; may be used from many threads.
#[derive(Clone, Debug)]
pub struct Client {
    agent: ureq::Agent,
    base: String,
    token: Option<String>,
}

impl Client {
    /// One that has not signed in, for the server at `http://HOST:PORT`.
    pub fn new(base: &str) -> Self {
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .proxy(None)
            .timeout_global(Some(Duration::from_mins(2)))
            .build();
        Self { agent: config.into(), base: base.to_owned(), token: None }
    }

    /// The same with a token.
    #[must_use]
    pub fn with_token(&self, token: &str) -> Self {
        Self { token: Some(token.to_owned()), ..self.clone() }
    }

    /// The same at another address: after a restart, or on a second server.
    #[must_use]
    pub fn at(&self, base: &str) -> Self {
        Self { base: base.to_owned(), ..self.clone() }
    }

    /// The address it speaks to: `http://HOST:PORT`.
    pub fn base(&self) -> &str {
        &self.base
    }

    /// Its token, once signed in.
    pub fn token(&self) -> Option<&str> {
        self.token.as_deref()
    }

    /// Asks for `path`, which begins with a slash.
    #[track_caller]
    pub fn get(&self, path: &str) -> Answer {
        self.request("GET", path).send()
    }

    /// Posts JSON under an `Idempotency-Key` of its own.
    #[track_caller]
    pub fn post(&self, path: &str, body: impl Serialize) -> Answer {
        self.request("POST", path).key(&fresh_key()).json(body).send()
    }

    /// Puts JSON under an `Idempotency-Key` of its own.
    #[track_caller]
    pub fn put(&self, path: &str, body: impl Serialize) -> Answer {
        self.request("PUT", path).key(&fresh_key()).json(body).send()
    }

    /// Posts JSON under a given `Idempotency-Key`.
    #[track_caller]
    pub fn post_keyed(&self, path: &str, key: &str, body: impl Serialize) -> Answer {
        self.request("POST", path).key(key).json(body).send()
    }

    /// Any other request; nothing is sent but what it is given, and the token.
    pub fn request(&self, method: &str, path: &str) -> Request<'_> {
        let mut builder = http::Request::builder().method(method).uri(format!("{}{path}", self.base));
        if let Some(token) = &self.token {
            builder = builder.header("Authorization", format!("Bearer {token}"));
        }
        Request { agent: &self.agent, what: format!("{method} {path}"), builder, body: None }
    }
}

/// A key that no other request has.
///
/// # Panics
/// If the system has no random numbers to give.
pub fn fresh_key() -> String {
    format!("{:016x}", getrandom::u64().expect("the system gives random numbers"))
}

/// A request being put together.
pub struct Request<'a> {
    agent: &'a ureq::Agent,
    what: String,
    builder: http::request::Builder,
    body: Option<Vec<u8>>,
}

impl Request<'_> {
    /// With an `Idempotency-Key`.
    #[must_use]
    pub fn key(self, key: &str) -> Self {
        self.header("Idempotency-Key", key)
    }

    /// With any header.
    #[must_use]
    pub fn header(mut self, name: &str, value: &str) -> Self {
        self.builder = self.builder.header(name, value);
        self
    }

    /// With a JSON body.
    ///
    /// # Panics
    /// If it has no JSON form.
    #[must_use]
    pub fn json(self, body: impl Serialize) -> Self {
        let body = serde_json::to_vec(&body).expect("what tests send has a JSON form");
        self.body("application/json", body)
    }

    /// With any body.
    #[must_use]
    pub fn body(self, content_type: &str, body: impl Into<Vec<u8>>) -> Self {
        Self { body: Some(body.into()), ..self.header("Content-Type", content_type) }
    }

    /// Sends it and reads the whole answer, whatever its status.
    ///
    /// # Panics
    /// If there is no answer.
    #[track_caller]
    pub fn send(self) -> Answer {
        let what = self.what.clone();
        self.try_send().unwrap_or_else(|error| panic!("{what}: {error}"))
    }

    /// The same where there may be no answer: the server was killed meanwhile.
    pub fn try_send(self) -> Result<Answer, ureq::Error> {
        let response = match self.body {
            None => self.agent.run(self.builder.body(())?)?,
            Some(body) => self.agent.run(self.builder.body(body)?)?,
        };
        let (parts, mut body) = response.into_parts();
        let body = body.with_config().limit(u64::MAX).read_to_vec()?;
        let json = serde_json::from_slice(&body).unwrap_or(Value::Null);
        Ok(Answer { what: self.what, status: parts.status.as_u16(), headers: parts.headers, body, json })
    }
}

/// What came back.
#[derive(Clone, Debug)]
pub struct Answer {
    what: String,
    /// The status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The body as it came.
    pub body: Vec<u8>,
    /// The body read as JSON; null where it is none.
    pub json: Value,
}

impl Answer {
    /// Itself, if the status is this one.
    ///
    /// # Panics
    /// If it is another, with the whole answer.
    #[must_use = "or call `.done()`"]
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert!(self.status == status, "{} should answer {status}: {}", self.what, self.whole());
        self
    }

    /// Says that nothing more is asked of it.
    pub fn done(self) {}

    /// A header as text.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }

    /// The body as text.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The problem it tells of.
    ///
    /// # Panics
    /// If it is no `application/problem+json`, or one that does not repeat its status.
    #[track_caller]
    pub fn problem(&self) -> Problem<'_> {
        let content_type = self.header("Content-Type").unwrap_or_default();
        assert!(
            content_type.split(';').next() == Some("application/problem+json"),
            "{} should tell of a problem: {}",
            self.what,
            self.whole()
        );
        assert!(
            self.json["status"] == self.status,
            "{} should repeat its status in the body: {}",
            self.what,
            self.whole()
        );
        Problem { json: &self.json, whole: self.whole() }
    }

    /// The problem it tells of, which must have this status and this type (`/problems/...`).
    ///
    /// # Panics
    /// If it is another answer, with the whole of it.
    #[track_caller]
    pub fn refused(&self, status: u16, kind: &str) -> Problem<'_> {
        assert!(self.status == status, "{} should answer {status}: {}", self.what, self.whole());
        let problem = self.problem();
        assert!(problem.kind() == kind, "{} should be refused as {kind}: {}", self.what, self.whole());
        problem
    }

    fn whole(&self) -> String {
        format!("{} {:#?}\n{}", self.status, self.headers, self.text())
    }
}

/// What a refusal says (RFC 9457).
#[derive(Clone, Debug)]
pub struct Problem<'a> {
    json: &'a Value,
    whole: String,
}

impl<'a> Problem<'a> {
    /// Its `type`, as `/problems/not-enough`.
    ///
    /// # Panics
    /// If it has none.
    #[track_caller]
    pub fn kind(&self) -> &'a str {
        self.text("type").unwrap_or_else(|| panic!("a problem has a type: {}", self.whole))
    }

    /// The field at fault, where there is one.
    pub fn field(&self) -> Option<&'a str> {
        self.text("field")
    }

    /// The sentence for people.
    pub fn detail(&self) -> Option<&'a str> {
        self.text("detail")
    }

    /// Any other member.
    pub fn member(&self, name: &str) -> &'a Value {
        &self.json[name]
    }

    fn text(&self, name: &str) -> Option<&'a str> {
        self.json[name].as_str()
    }
}
