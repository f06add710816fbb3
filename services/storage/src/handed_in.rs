//! Commands that were handed in to the writer: what each comes to, for whoever waits for it.

use crate::StorageError;

/// What a command came to.
#[derive(Clone, Debug)]
pub struct Done<T> {
    /// Its answer.
    pub answer: T,
    /// The journal entry it made, now or the first time.
    pub entry: i64,
    /// It had been done before under the same key; nothing was done now.
    pub replayed: bool,
}

type Outcome<T, E> = Result<Done<T>, E>;

/// A command that was handed in. It is run whether or not anybody waits for it.
pub struct HandedIn<T, E>(oneshot::Receiver<Outcome<T, E>>);

/// Where the writer says what it came to.
pub(crate) struct Reply<T, E>(oneshot::Sender<Outcome<T, E>>);

impl<T, E: From<StorageError>> HandedIn<T, E> {
    /// A command, and where its outcome is said.
    pub(crate) fn new() -> (Reply<T, E>, Self) {
        let (reply, outcome) = oneshot::channel();
        (Reply(reply), Self(outcome))
    }

    /// Waits for its commit; blocks.
    pub fn wait(self) -> Outcome<T, E> {
        self.0.recv().unwrap_or_else(|oneshot::RecvError| Err(no_answer().into()))
    }

    /// The same, and blocks nobody.
    pub async fn outcome(self) -> Outcome<T, E> {
        self.0.await.unwrap_or_else(|oneshot::RecvError| Err(no_answer().into()))
    }
}

impl<T, E> Reply<T, E> {
    /// Whoever asked may have gone away meanwhile; the command stands all the same.
    pub fn say(self, outcome: Outcome<T, E>) {
        drop(self.0.send(outcome));
    }
}

fn no_answer() -> StorageError {
    StorageError::WriterStopped("no answer".into())
}
