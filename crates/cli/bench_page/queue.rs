//! Where the page's questions are worked out: a short queue, and a few threads that take from it.

use std::panic::{self, AssertUnwindSafe};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Mutex, PoisonError};

use axum::http::StatusCode;
use tokio::sync::oneshot;

use super::answer::Backend;
use super::reply::Reply;

/// Questions that wait, at most: one page has a handful at once.
const MAX_WAITING: usize = 64;

/// A question.
type Question = Box<dyn for<'b, 'a> FnOnce(&'b Backend<'a>) -> Reply + Send>;

/// A question and who waits for the answer.
struct Job {
    question: Question,
    answer: oneshot::Sender<Reply>,
}

/// Where questions are handed in.
#[derive(Clone)]
pub struct Queue(SyncSender<Job>);

/// Where the threads take them from.
pub struct Jobs(Mutex<Receiver<Job>>);

/// Makes the queue.
pub fn queue() -> (Queue, Jobs) {
    let (queue, jobs) = sync_channel(MAX_WAITING);
    (Queue(queue), Jobs(Mutex::new(jobs)))
}

impl Queue {
    /// Hands a question in and waits for its answer; says that too many wait where that is so.
    pub async fn ask(&self, question: impl for<'b, 'a> FnOnce(&'b Backend<'a>) -> Reply + Send + 'static) -> Reply {
        let (answer, wait) = oneshot::channel();
        match self.0.try_send(Job { question: Box::new(question), answer }) {
            Ok(()) => wait.await.unwrap_or_else(|_| stopped()),
            Err(TrySendError::Full(_)) => {
                Reply::refused(StatusCode::SERVICE_UNAVAILABLE, "busy", "too much is being worked out; ask again")
            }
            Err(TrySendError::Disconnected(_)) => stopped(),
        }
    }
}

/// Answers questions until nobody can ask any more.
pub fn work(jobs: &Jobs, backend: &Backend<'_>) {
    loop {
        let next = jobs.0.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok(Job { question, answer }) = next else { return };
        // Whoever asked has gone, as when a slider has moved on: nothing needs to be worked out.
        if answer.is_closed() {
            continue;
        }
        let reply = panic::catch_unwind(AssertUnwindSafe(|| question(backend))).unwrap_or_else(|_| stopped());
        // Gone meanwhile: nobody to tell.
        let _ = answer.send(reply);
    }
}

/// Says that an answer was lost.
fn stopped() -> Reply {
    let message = "the program stopped in the middle of its work; this is a fault of barwright, please report it";
    Reply::refused(StatusCode::INTERNAL_SERVER_ERROR, "internal", message)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first surprise")]

    use barwright_answer::Engine;
    use barwright_answer::live::LiveEngine;

    use super::super::files::Folder;
    use super::*;

    fn runtime() -> tokio::runtime::Runtime {
        tokio::runtime::Builder::new_current_thread().build().unwrap()
    }

    #[test]
    fn a_full_queue_says_so_at_once() {
        let (queue, _jobs) = queue();
        let reply = runtime().block_on(async {
            for _ in 0..MAX_WAITING {
                let queue = queue.clone();
                tokio::spawn(async move { queue.ask(|_| Reply::json(&"answer")).await });
            }
            // Each turn runs some of them; none can be answered.
            for _ in 0..MAX_WAITING {
                tokio::task::yield_now().await;
            }
            queue.ask(|_| Reply::json(&"answer")).await
        });
        assert_eq!(reply.status, StatusCode::SERVICE_UNAVAILABLE);
    }

    #[test]
    fn what_nobody_waits_for_is_not_worked_out_and_a_fault_ends_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let engine = Engine::builtin().unwrap();
        let backend = Backend { live: LiveEngine::new(&engine), folder: Folder::open(folder.path()).unwrap() };
        let (queue, jobs) = queue();
        let (answer, gone) = oneshot::channel();
        drop(gone);
        let never: Question = Box::new(|_| std::process::abort());
        assert!(queue.0.try_send(Job { question: never, answer }).is_ok());
        std::thread::scope(|scope| {
            scope.spawn(|| work(&jobs, &backend));
            let ask = |question: fn(&Backend<'_>) -> Reply| runtime().block_on(queue.ask(question)).status;
            assert_eq!(ask(|_| std::panic::panic_any("a fault")), StatusCode::INTERNAL_SERVER_ERROR);
            assert_eq!(ask(|_| Reply::json(&"answer")), StatusCode::OK);
            drop(queue);
        });
    }
}
