//! Takes connections and ends cleanly.

use std::net::TcpListener;
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::runtime::Builder;
use tokio::sync::Semaphore;
use tokio::time::{sleep, timeout};

use super::answer::Backend;
use super::guard::Guard;
use super::queue::{queue, work};
use super::routes::{MAX_REQUESTS, Site, routes};
use crate::error::CliError;
use crate::save::refusal;
use crate::stop::Stop;
use crate::threads::work_alone;
use barwright_answer::Fault;

/// Time the head of a request has to arrive; a connection at rest is closed after it too.
const HEAD_TIME: Duration = Duration::from_secs(10);

/// Largest head of a request, bytes.
const MAX_HEAD: usize = 32 * 1024;

/// Most connections at once; more wait to be taken.
const MAX_CONNECTIONS: usize = 256;

/// Longest life of a connection: whoever never reads the answer does not hold one for ever. The page asks again on a new one.
const MAX_CONNECTION_TIME: Duration = Duration::from_secs(600);

/// How often the server looks whether it is to end.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// Time given to requests under way when the server ends.
const LAST_ANSWERS: Duration = Duration::from_secs(2);

/// Pause after a connection could not be taken, as when there are too many open files.
const PAUSE: Duration = Duration::from_millis(50);

/// Threads that compute, at least: a long question must not hold up a moving slider.
const MIN_THREADS: usize = 2;

/// Serves until it is told to stop.
///
/// # Errors
/// The system gives no thread or no network.
pub fn serve(listener: TcpListener, guard: Guard, backend: &Backend<'_>, stop: &Stop) -> Result<(), CliError> {
    listener.set_nonblocking(true).map_err(|error| no_network(&error))?;
    let (queue, jobs) = queue();
    let places = Semaphore::new(usize::try_from(MAX_REQUESTS).unwrap_or(1));
    let site = Arc::new(Site { guard, queue, places });
    let threads = thread::available_parallelism().map_or(MIN_THREADS, usize::from).max(MIN_THREADS);
    thread::scope(|scope| {
        let (mut started, mut refusal) = (0, None);
        for _ in 0..threads {
            let worker = || {
                work_alone();
                work(&jobs, backend);
            };
            match thread::Builder::new().spawn_scoped(scope, worker) {
                Ok(_) => started += 1,
                Err(error) => refusal = Some(error),
            }
        }
        match refusal {
            // One will do.
            Some(error) if started == 0 => Err(no_thread(&error)),
            // The last queue goes with the runtime; the threads end when there is none.
            _ => listen(listener, site, stop),
        }
    })
}

/// Runs the network part.
fn listen(listener: TcpListener, site: Arc<Site>, stop: &Stop) -> Result<(), CliError> {
    let runtime = Builder::new_current_thread().enable_all().build().map_err(|error| no_network(&error))?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener).map_err(|error| no_network(&error))?;
        let taking = tokio::spawn(take(listener, routes(Arc::clone(&site))));
        while !stop.asked() {
            sleep(LOOK_EVERY).await;
        }
        taking.abort();
        // Answers under way are finished; whether they were in time changes nothing any more.
        let _ = timeout(LAST_ANSWERS, site.places.acquire_many(MAX_REQUESTS)).await;
        Ok(())
    })
}

/// Says that the system does not let this program use the network.
pub fn no_network(error: &std::io::Error) -> CliError {
    if refusal::is_too_many_open(error) {
        let message = "the page cannot be served: too many files are open";
        return Fault::new("open-files", message).hint(refusal::TOO_MANY_OPEN_HINT).into();
    }
    Fault::new("network", format!("the page cannot be served: {error}")).into()
}

/// Says that the system does not let this program compute beside the network.
fn no_thread(error: &std::io::Error) -> CliError {
    Fault::new("threads", format!("the page cannot be served: the system starts no thread for it: {error}"))
        .hint("Close other programs, or allow more processes (`ulimit -u`) or more memory (`ulimit -v`), and say it again.")
        .into()
}

/// Takes connections.
async fn take(listener: tokio::net::TcpListener, router: Router) {
    let room = Arc::new(Semaphore::new(MAX_CONNECTIONS));
    loop {
        let Ok(place) = Arc::clone(&room).acquire_owned().await else { return };
        let Ok((stream, _)) = listener.accept().await else {
            sleep(PAUSE).await;
            continue;
        };
        // Small answers go out at once; where the system does not know how, they go out a little later.
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let mut connection = http1::Builder::new();
            connection.timer(TokioTimer::new()).header_read_timeout(HEAD_TIME).max_buf_size(MAX_HEAD);
            // A broken or an endless connection is the other side's affair.
            let _ = timeout(MAX_CONNECTION_TIME, connection.serve_connection(TokioIo::new(stream), service)).await;
            drop(place);
        });
    }
}
