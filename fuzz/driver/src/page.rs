//! Questions to the bench page, asked of the built command over this computer's own address.
//!
//! What reads and answers them lies in the command's binary, between its arguments and its sentences, so it is asked as a browser would ask it.
//! The command is the one beside the program that runs, or the one named by the environment variable [`COMMAND`].

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use serde_json::Value;
use tempfile::TempDir;

use crate::claims;

/// The environment variable that names the command.
pub const COMMAND: &str = "BARWRIGHT_COMMAND";

/// Longest wait for an answer: the server gives up after 60 s.
const PATIENCE: Duration = Duration::from_secs(64);

/// Answers the server may give to a question it cannot use, or is too busy for.
const STATUSES: [u16; 13] = [200, 400, 404, 405, 408, 409, 411, 413, 414, 415, 421, 422, 503];

/// Methods of the addresses.
const METHODS: [&str; 3] = ["GET", "POST", "PUT"];

static SERVER: Mutex<Option<Server>> = Mutex::new(None);

/// A server of an empty folder, which ends with it.
struct Server {
    child: Child,
    address: String,
    token: String,
    stream: Option<BufReader<TcpStream>>,
    _folder: TempDir,
}

/// Returns the built command, if there is one.
pub fn command() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os(COMMAND) {
        return Some(PathBuf::from(named));
    }
    let program = std::env::current_exe().ok()?;
    // A program lies beside the command; a test lies in a folder below.
    let beside = |folder: &std::path::Path| {
        let path = folder.join("barwright").with_extension(std::env::consts::EXE_EXTENSION);
        path.is_file().then_some(path)
    };
    program.ancestors().skip(1).take(2).find_map(beside)
}

/// A first line of method and address, such as `POST /api/assess`, and the question in JSON below it.
pub fn page(data: &[u8]) -> u64 {
    let Some(command) = command() else { return 0 };
    let text = claims::text(data);
    let (head, body) = text.split_once('\n').unwrap_or((&text, ""));
    let (method, path) = head.trim().split_once(' ').unwrap_or(("POST", head.trim()));
    if !METHODS.contains(&method) {
        return 0;
    }
    let mut kept = SERVER.lock().unwrap_or_else(PoisonError::into_inner);
    let server = kept.get_or_insert_with(|| Server::start(&command));
    let (status, answer) = match server.ask(method, path, body) {
        Some(answered) => answered,
        None => {
            // A new connection, once; a server that has ended is a finding.
            server.stream = None;
            let again = server.ask(method, path, body);
            if again.is_none() {
                kept.take();
            }
            again.expect("the server answers")
        }
    };
    assert!(STATUSES.contains(&status), "status {status}: {answer}, to {method} {path}");
    let json: Option<Value> = serde_json::from_str(&answer).ok();
    if let Some(json) = &json {
        claims::figures(json);
    }
    if path.starts_with("/api/") && status == 200 {
        assert!(json.is_some(), "no JSON: {answer}");
    }
    let keys = json.as_ref().and_then(Value::as_object).map(|fields| fields.keys().cloned().collect::<Vec<_>>());
    claims::digest((status, keys, refusal(json.as_ref())))
}

/// The code of a refusal.
fn refusal(answer: Option<&Value>) -> Option<String> {
    Some(answer?.get("errors")?.get(0)?.get("code")?.as_str()?.to_owned())
}

impl Server {
    fn start(command: &std::path::Path) -> Server {
        let folder = tempfile::tempdir().expect("a folder");
        let mut child = Command::new(command)
            .env_remove("BARWRIGHT_PROFILE")
            .args(["page", "--folder"])
            .arg(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the command begins");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("its output")).read_line(&mut line).expect("its address");
        let address = line.trim().strip_prefix("http://").and_then(|line| line.split_once("/?token="));
        let (address, token) = address.map(|(a, t)| (a.to_owned(), t.to_owned())).expect("an address with a key");
        Server { child, address, token, stream: None, _folder: folder }
    }

    /// Asks and returns status and answer; `None` when the connection has ended.
    fn ask(&mut self, method: &str, path: &str, body: &str) -> Option<(u16, String)> {
        let path: String = path.bytes().map(escaped).collect();
        let (address, token) = (&self.address, &self.token);
        let request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\n\r\n{body}",
            body.len()
        );
        let stream = match &mut self.stream {
            Some(stream) => stream,
            none => {
                let stream = TcpStream::connect(address).ok()?;
                stream.set_read_timeout(Some(PATIENCE)).ok()?;
                stream.set_nodelay(true).ok()?;
                none.insert(BufReader::new(stream))
            }
        };
        stream.get_mut().write_all(request.as_bytes()).ok()?;
        let mut line = String::new();
        stream.read_line(&mut line).ok()?;
        let status = line.split(' ').nth(1)?.parse().ok()?;
        let (mut length, mut close) = (0, false);
        loop {
            let mut header = String::new();
            stream.read_line(&mut header).ok()?;
            let header = header.trim().to_ascii_lowercase();
            if header.is_empty() {
                break;
            }
            if let Some(text) = header.strip_prefix("content-length:") {
                length = text.trim().parse().ok()?;
            }
            close |= header == "connection: close";
        }
        let mut answer = vec![0; length];
        stream.read_exact(&mut answer).ok()?;
        if close {
            self.stream = None;
        }
        Some((status, String::from_utf8_lossy(&answer).into_owned()))
    }
}

/// A byte of an address; what would end the line, or is no text there, is written as a number.
fn escaped(byte: u8) -> String {
    if byte.is_ascii_graphic() { char::from(byte).to_string() } else { format!("%{byte:02X}") }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Ends the server, if one was begun.
pub fn end() {
    SERVER.lock().unwrap_or_else(PoisonError::into_inner).take();
}
