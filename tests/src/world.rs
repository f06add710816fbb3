//! A database, a server on it and people to act in it.

use serde_json::json;

use crate::{Backend, Client, TestDatabase, TestServer, binary};

/// The password of everyone the harness adds.
pub const PASSWORD: &str = "a gelato a day, every day";

/// A running house with its owner signed in. Dropped in this order: the server is gone before the database is checked.
pub struct World {
    /// Signed in as `owner`.
    pub owner: Client,
    /// The server.
    pub server: TestServer,
    /// Its database.
    pub database: TestDatabase,
}

impl World {
    /// A fresh database with one owner, served.
    ///
    /// # Panics
    /// If any of that cannot be had.
    #[track_caller]
    pub fn open(backend: Backend) -> Self {
        Self::open_with(backend, &[])
    }

    /// The same with more arguments to `serve`.
    ///
    /// # Panics
    /// If any of that cannot be had.
    #[track_caller]
    pub fn open_with(backend: Backend, more: &[&str]) -> Self {
        let database = TestDatabase::new(backend);
        binary::add_user(&database, "owner", "Olga Owner", &["owner"], PASSWORD);
        let server = TestServer::start_with(&database, more);
        let owner = sign_in(&server, "owner", PASSWORD);
        Self { owner, server, database }
    }
}

/// Signs in and returns a client with the token.
///
/// # Panics
/// If the server refuses.
#[track_caller]
pub fn sign_in(server: &TestServer, login: &str, password: &str) -> Client {
    let client = server.client();
    let answer = client.request("POST", "/v1/sessions").json(json!({ "login": login, "password": password })).send();
    assert!((200..300).contains(&answer.status), "{login} cannot sign in: {} {}", answer.status, answer.text());
    let token = answer.json["token"].as_str().unwrap_or_else(|| panic!("a session has a token: {}", answer.text()));
    client.with_token(token)
}
