//! Where the page's questions are worked out: a few threads, a short queue, and the workbenches kept from one question to the next.

use std::panic::{self, AssertUnwindSafe};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use axum::http::StatusCode;
use barwright_answer::Engine;
use barwright_blend::assess::Workbench;
use barwright_blend::{BlendError, Options};
use tokio::sync::oneshot;

use super::files::Folder;
use super::reply::Reply;

/// Questions that wait, at most: one page has a handful at once.
const LONGEST_QUEUE: usize = 64;

/// Workbenches kept: two numbers of draws for a few sets of conditions.
const MOST_BENCHES: usize = 8;

/// What every question is answered from.
#[derive(Debug)]
pub struct Kitchen<'a> {
    /// Tables and model.
    pub engine: &'a Engine,
    /// The maker's folder.
    pub folder: Folder,
    /// The workbenches, the last used one last.
    benches: Mutex<Vec<(Options, Shared<'a>)>>,
}

/// A workbench that several threads may want while one makes it.
type Shared<'a> = Arc<OnceLock<Result<Workbench<'a>, BlendError>>>;

impl<'a> Kitchen<'a> {
    /// Makes a kitchen.
    pub fn new(engine: &'a Engine, folder: Folder) -> Self {
        Kitchen { engine, folder, benches: Mutex::new(Vec::new()) }
    }

    /// Uses the workbench for some options, which is made when there is none yet.
    ///
    /// # Errors
    /// It cannot be made, or what is done on it fails.
    pub fn on_bench<T>(
        &self,
        options: &Options,
        work: impl FnOnce(&Workbench<'a>) -> Result<T, BlendError>,
    ) -> Result<T, BlendError> {
        let shared = self.bench(options);
        match shared.get_or_init(|| Workbench::new(&self.engine.library, &self.engine.model, options.clone())) {
            Ok(bench) => work(bench),
            Err(error) => Err(error.clone()),
        }
    }

    /// The place of a workbench.
    fn bench(&self, options: &Options) -> Shared<'a> {
        let mut benches = self.benches.lock().unwrap_or_else(PoisonError::into_inner);
        let kept = benches.iter().position(|(of, _)| of == options).map(|at| benches.remove(at));
        let (of, shared) = kept.unwrap_or_else(|| (options.clone(), Shared::default()));
        if benches.len() == MOST_BENCHES {
            benches.remove(0);
        }
        benches.push((of, Arc::clone(&shared)));
        shared
    }
}

/// A question.
type Question = Box<dyn for<'k, 'a> FnOnce(&'k Kitchen<'a>) -> Reply + Send>;

/// A question and who waits for the answer.
struct Order {
    question: Question,
    answer: oneshot::Sender<Reply>,
}

/// Where questions are handed in.
#[derive(Clone)]
pub struct Hatch(SyncSender<Order>);

/// Where the threads take them from.
pub struct Orders(Mutex<Receiver<Order>>);

/// Makes the queue.
pub fn queue() -> (Hatch, Orders) {
    let (hatch, orders) = sync_channel(LONGEST_QUEUE);
    (Hatch(hatch), Orders(Mutex::new(orders)))
}

impl Hatch {
    /// Hands a question in and waits for its answer; says that too many wait where that is so.
    pub async fn ask(&self, question: impl for<'k, 'a> FnOnce(&'k Kitchen<'a>) -> Reply + Send + 'static) -> Reply {
        let (answer, wait) = oneshot::channel();
        match self.0.try_send(Order { question: Box::new(question), answer }) {
            Ok(()) => wait.await.unwrap_or_else(|_| stopped()),
            Err(TrySendError::Full(_)) => {
                Reply::refused(StatusCode::SERVICE_UNAVAILABLE, "busy", "too much is being worked out; ask again")
            }
            Err(TrySendError::Disconnected(_)) => stopped(),
        }
    }
}

/// Answers questions until nobody can ask any more.
pub fn work(orders: &Orders, kitchen: &Kitchen<'_>) {
    loop {
        let next = orders.0.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok(Order { question, answer }) = next else { return };
        // Whoever asked has gone, as when a slider has moved on: nothing needs to be worked out.
        if answer.is_closed() {
            continue;
        }
        let reply = panic::catch_unwind(AssertUnwindSafe(|| question(kitchen))).unwrap_or_else(|_| stopped());
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

    use super::*;

    fn runtime() -> tokio::runtime::Runtime {
        tokio::runtime::Builder::new_current_thread().build().unwrap()
    }

    fn in_kitchen<T>(folder: &std::path::Path, work: impl FnOnce(&Kitchen<'_>) -> T) -> T {
        let engine = Engine::builtin().unwrap();
        work(&Kitchen::new(&engine, Folder::open(folder).unwrap()))
    }

    #[test]
    fn a_full_queue_says_so_at_once() {
        let (hatch, _orders) = queue();
        let reply = runtime().block_on(async {
            for _ in 0..LONGEST_QUEUE {
                let hatch = hatch.clone();
                tokio::spawn(async move { hatch.ask(|_| Reply::json(&"answer")).await });
            }
            // Each turn runs some of them; none can be answered.
            for _ in 0..LONGEST_QUEUE {
                tokio::task::yield_now().await;
            }
            hatch.ask(|_| Reply::json(&"answer")).await
        });
        assert_eq!(reply.status, StatusCode::SERVICE_UNAVAILABLE);
    }

    #[test]
    fn what_nobody_waits_for_is_not_worked_out_and_a_fault_ends_nothing() {
        let folder = tempfile::tempdir().unwrap();
        in_kitchen(folder.path(), |kitchen| {
            let (hatch, orders) = queue();
            let (answer, gone) = oneshot::channel();
            drop(gone);
            let never: Question = Box::new(|_| std::process::abort());
            assert!(hatch.0.try_send(Order { question: never, answer }).is_ok());
            std::thread::scope(|scope| {
                scope.spawn(|| work(&orders, kitchen));
                let ask = |question: fn(&Kitchen<'_>) -> Reply| runtime().block_on(hatch.ask(question)).status;
                assert_eq!(ask(|_| std::panic::panic_any("a fault")), StatusCode::INTERNAL_SERVER_ERROR);
                assert_eq!(ask(|_| Reply::json(&"answer")), StatusCode::OK);
                drop(hatch);
            });
        });
    }

    #[test]
    fn workbenches_are_kept_and_the_oldest_goes() {
        let folder = tempfile::tempdir().unwrap();
        in_kitchen(folder.path(), |kitchen| {
            let options = |hold_c: f64| Options { draws: 0, hold_c, ..Options::default() };
            let first = kitchen.bench(&options(0.0));
            for hold_c in 1..MOST_BENCHES {
                kitchen.bench(&options(hold_c as f64));
            }
            assert!(Arc::ptr_eq(&first, &kitchen.bench(&options(0.0))), "used again, it is the last to go");
            kitchen.bench(&options(-1.0));
            assert!(Arc::ptr_eq(&first, &kitchen.bench(&options(0.0))));
            assert_eq!(kitchen.benches.lock().unwrap().len(), MOST_BENCHES);
        });
    }
}
