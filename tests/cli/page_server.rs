//! `page`: the server behind the bench page. Who is let in, what is refused, and that it is still up afterwards.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, ChildStderr, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::run;

/// Largest request taken, bytes.
const LARGEST_BODY: usize = 256 * 1024;

/// Longest a test waits for anything.
const PATIENCE: Duration = Duration::from_secs(30);

/// A server that ends with the test.
struct Server {
    child: Child,
    address: String,
    token: String,
    folder: TempDir,
    stderr: ChildStderr,
}

impl Server {
    fn start() -> Self {
        Server::with(TempDir::new().unwrap(), &[])
    }

    fn with(folder: TempDir, more: &[&str]) -> Self {
        let path = folder.path().to_owned();
        Server::of(&path, folder, more)
    }

    /// A server of a folder, which may lie in another one that is kept for the test.
    fn of(path: &Path, folder: TempDir, more: &[&str]) -> Self {
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_barwright"))
            .env_remove("BARWRIGHT_PROFILE")
            .args(["page", "--folder"])
            .arg(path)
            .args(more)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let (address, token) = line.trim().strip_prefix("http://").unwrap().split_once("/?token=").unwrap();
        let (address, token) = (address.to_owned(), token.to_owned());
        let stderr = child.stderr.take().unwrap();
        Server { child, address, token, folder, stderr }
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream.set_write_timeout(Some(PATIENCE)).unwrap();
        stream
    }

    /// Sends bytes and returns all that comes back until the connection ends.
    fn raw(&self, bytes: &[u8]) -> String {
        let mut stream = self.connect();
        // The server may end the connection before it has read everything.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn status(&self, bytes: &[u8]) -> u16 {
        status_of(&self.raw(bytes))
    }

    /// A request as a program of the maker's own would send it.
    fn request(&self, method: &str, path: &str, body: &str) -> Vec<u8> {
        let Server { address, token, .. } = self;
        format!(
            "{method} {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\nConnection: close\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
        .into_bytes()
    }

    /// A request as the page in a browser would send it, with other header lines.
    fn page_request(&self, method: &str, path: &str, lines: &str) -> Vec<u8> {
        let port = self.address.rsplit_once(':').unwrap().1;
        let cookie = format!("Cookie: barwright-{port}={}\r\n", self.token);
        format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n{cookie}{lines}\r\n").into_bytes()
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> (u16, Value) {
        let body = if body.is_null() { String::new() } else { body.to_string() };
        let answer = self.raw(&self.request(method, path, &body));
        let (_, content) = answer.split_once("\r\n\r\n").unwrap();
        (status_of(&answer), serde_json::from_str(content).unwrap_or(Value::Null))
    }

    fn assert_up(&self) {
        assert_eq!(self.ask("GET", "/api/files", &Value::Null).0, 200, "the server does not answer any more");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn status_of(answer: &str) -> u16 {
    answer.strip_prefix("HTTP/1.1 ").and_then(|rest| rest.get(..3)?.parse().ok()).unwrap_or(0)
}

fn bar() -> Value {
    json!({ "name": "trial", "parts": [
        { "ingredient": "beeswax", "amount": 26 },
        { "ingredient": "Mango Butter", "amount": 22 },
        { "ingredient": "sunflower-oil", "amount": 52 },
    ]})
}

fn conditions() -> Value {
    json!({ "state": "rested", "hold_c": 40, "relief_mm": 0.8 })
}

#[test]
fn the_page_opens_with_the_address_printed_and_no_other() {
    let server = Server::start();
    let Server { address, token, .. } = &server;
    let host = format!("Host: {address}\r\n");
    let get = |path: &str| server.raw(format!("GET {path} HTTP/1.1\r\n{host}Connection: close\r\n\r\n").as_bytes());
    let page = get(&format!("/?token={token}"));
    assert_eq!(status_of(&page), 200, "{page}");
    let page = page.to_lowercase();
    for line in [
        "content-security-policy: default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'",
        "x-content-type-options: nosniff",
        "referrer-policy: same-origin",
        "cache-control: no-store",
        "httponly; samesite=strict; path=/",
    ] {
        assert!(page.contains(line), "{line} is missing in {page}");
    }
    for path in [
        "/",
        "/page.js",
        "/api/files",
        "/?token=",
        &format!("/?token={}", "0".repeat(64)),
        &format!("/page.js?token={token}"),
    ] {
        assert_eq!(status_of(&get(path)), 403, "{path}");
    }
    for path in ["/", "/page.css", "/page.js", "/curves.js", "/ask.js", "/mark.svg", "/api/start"] {
        assert_eq!(server.status(&server.page_request("GET", path, &host)), 200, "{path}");
    }
}

#[test]
fn the_answers_are_those_of_the_subcommands() {
    let server = Server::start();
    let asked = json!({ "formulas": [bar()], "options": conditions(), "moving": false });
    let (status, answer) = server.ask("POST", "/api/assess", &asked);
    assert_eq!(status, 200, "{answer}");
    let command = run(&["assess", "beeswax 26, mango butter 22, sunflower oil 52", "--json"]).json();
    for key in ["melt", "detail", "warmth", "skin", "grain", "cautions", "draws"] {
        assert_eq!(answer["figures"]["bars"][0][key], command[key], "{key}");
    }
    let firm = |answer: &Value| {
        let all = answer["firmness"].as_array().unwrap();
        let one = all.iter().find(|one| one["temperature_c"] == 20.0).unwrap();
        one["yield_stress_kpa"]["value"].as_f64().unwrap()
    };
    // Other temperatures on the way lead the solver to the same answer, but not to its last bit.
    assert!((firm(&answer["figures"]["bars"][0]) / firm(&command) - 1.0).abs() < 1e-9);

    let other = json!({ "name": "other", "parts": [{ "ingredient": "candelilla-wax", "amount": 1 }, { "ingredient": "olive-oil", "amount": 4 }] });
    let asked = json!({ "formulas": [bar(), other], "options": conditions() });
    let (_, two) = server.ask("POST", "/api/assess", &asked);
    assert_eq!(two["figures"]["bars"].as_array().unwrap().len(), 2);
    let markup = |answer: &Value, key: &str| answer[key].as_str().unwrap().to_owned();
    assert!(markup(&two, "lead").contains("<h3>Which to pour</h3>") && markup(&two, "sections").contains("Cautions"));

    let demands = json!([{ "demand": "hold", "temperature_c": 45 }]);
    let asked = json!({ "adjust": { "formula": bar(), "options": conditions(), "demands": demands } });
    let (status, changed) = server.ask("POST", "/api/ask", &asked);
    assert_eq!(status, 200, "{changed}");
    let command = run(&["adjust", "beeswax 26, mango butter 22, sunflower oil 52", "--hold", "45C", "--json"]).json();
    for key in ["changes", "feasible", "limits", "mass_moved_percent"] {
        assert_eq!(changed["figures"][key], command[key], "{key}");
    }

    let asked = json!({ "swap": {
        "formula": bar(), "options": conditions(), "replace": "beeswax", "with": ["candelilla wax"], "vegan": true,
    } });
    let (status, swapped) = server.ask("POST", "/api/ask", &asked);
    assert_eq!(status, 200, "{swapped}");
    assert!(markup(&swapped, "lead").contains("candelilla wax"), "{swapped}");
    assert_eq!(server.ask("POST", "/api/ask", &json!({ "validate": {} })).0, 422);
}

#[test]
fn what_is_asked_wrongly_is_said() {
    let server = Server::start();
    let ask = |bar: Value, conditions: Value| {
        let (status, answer) =
            server.ask("POST", "/api/assess", &json!({ "formulas": [bar], "options": conditions, "moving": true }));
        (status, answer["error"][0]["code"].as_str().unwrap_or("").to_owned())
    };
    let part = |name: &str, amount: f64| json!({ "name": "x", "parts": [{ "ingredient": name, "amount": amount }] });
    assert_eq!(ask(part("beswax", 1.0), conditions()), (422, "unknown-ingredient".to_owned()));
    assert_eq!(ask(part("beeswax", 0.0), conditions()), (422, "parts".to_owned()));
    assert_eq!(ask(part("beeswax", -1.0), conditions()), (422, "range".to_owned()));
    assert_eq!(
        ask(part("beeswax", 1.0), json!({ "state": "rested", "hold_c": 1e9, "relief_mm": 0.8 })),
        (422, "range".to_owned())
    );
    assert_eq!(
        ask(part("beeswax", 1.0), json!({ "state": "molten", "hold_c": 40, "relief_mm": 0.8 })),
        (400, "question".to_owned())
    );
    let many: Vec<Value> = (0..41).map(|_| json!({ "ingredient": "beeswax", "amount": 1 })).collect();
    assert_eq!(ask(json!({ "name": "x", "parts": many }), conditions()), (422, "parts".to_owned()));
    let deep = "[".repeat(100_000);
    assert_eq!(server.status(&server.request("POST", "/api/assess", &deep)), 400);
    let text = server.request("POST", "/api/assess", "{}");
    let text = String::from_utf8(text).unwrap().replace("application/json", "text/plain");
    assert_eq!(server.status(text.as_bytes()), 415);
    server.assert_up();
}

#[test]
fn a_formula_is_saved_opened_and_never_overwritten_unseen() {
    let server = Server::start();
    let place = server.folder.path().join("my bar.toml");
    let save =
        |digest: Value| server.ask("PUT", "/api/files/my%20bar.toml", &json!({ "bar": bar(), "digest": digest }));
    let (status, saved) = save(Value::Null);
    assert_eq!(status, 200, "{saved}");
    let text = std::fs::read_to_string(&place).unwrap();
    assert_eq!(text, "name = \"trial\"\n\n[parts]\nbeeswax = 26\n\"mango butter\" = 22\n\"sunflower oil\" = 52\n");
    let (_, listed) = server.ask("GET", "/api/files", &Value::Null);
    assert_eq!(listed["files"][0], "my bar.toml");
    let (_, opened) = server.ask("GET", "/api/files/my%20bar.toml", &Value::Null);
    assert_eq!(opened["digest"], saved["digest"]);
    assert_eq!(opened["formula"]["parts"][1], json!({ "ingredient": "mango-butter", "amount": 22.0 }));

    // A new one in its place, and one changed by hand: both are refused, with what is there now.
    assert_eq!(save(Value::Null).0, 409);
    let by_hand =
        "# mine\nname = \"trial\"\n[parts]\nbeeswax = 1 # by hand\n\"mango butter\" = 1\n\"sunflower oil\" = 2\n";
    std::fs::write(&place, by_hand).unwrap();
    let (status, refused) = save(saved["digest"].clone());
    assert_eq!(status, 409);
    assert_eq!(std::fs::read_to_string(&place).unwrap(), by_hand);
    // Overwritten on demand, it keeps what else stands in it.
    assert_eq!(save(refused["digest"].clone()).0, 200);
    let text = std::fs::read_to_string(&place).unwrap();
    assert!(text.starts_with("# mine\n") && text.contains("# by hand"), "{text}");
    std::fs::remove_file(&place).unwrap();
    let (status, gone) = save(refused["digest"].clone());
    assert_eq!((status, &gone["digest"]), (409, &Value::Null));

    // What is no formula is neither opened nor replaced.
    std::fs::write(&place, "[lot.x]\nlike = 'beeswax'\n").unwrap();
    assert_eq!(server.ask("GET", "/api/files/my%20bar.toml", &Value::Null).0, 422);
}

#[test]
fn the_weigh_sheet_is_the_page_of_batch() {
    let server = Server::start();
    let plain = json!({
        "formula": bar(), "size": { "bars": { "count": 12, "bar_g": 50 } }, "left_percent": 5, "scale_g": 1, "number": "F-1",
    });
    sheet_is_that_of_batch(&server, &plain, "eu");
    for market in ["eu", "us"] {
        let mut asked = plain.clone();
        asked["market"] = market.into();
        sheet_is_that_of_batch(&server, &asked, market);
    }
}

fn sheet_is_that_of_batch(server: &Server, asked: &Value, market: &str) {
    let ask = asked.to_string();
    let encoded: String = ask.bytes().map(|byte| format!("%{byte:02X}")).collect();
    let body = format!("ask={encoded}");
    let lines = format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nSec-Fetch-Site: same-origin\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {1}\r\n",
        server.address,
        body.len()
    );
    let mut request = server.page_request("POST", "/sheet", &lines);
    request.extend(body.as_bytes());
    let answer = server.raw(&request);
    assert_eq!(status_of(&answer), 200, "{answer}");
    assert!(answer.contains("content-security-policy: default-src 'none'; style-src 'sha256-"), "{answer}");
    let written = TempDir::new().unwrap();
    let formula = "name = \"trial\"\n[parts]\nbeeswax = 26\n\"mango butter\" = 22\n\"sunflower oil\" = 52\n";
    std::fs::write(written.path().join("trial.toml"), formula).unwrap();
    let arguments = [
        "batch",
        "trial.toml",
        "--bars",
        "12",
        "--bar",
        "50g",
        "--number",
        "F-1",
        "--no-plans",
        "--market",
        market,
        "--page",
        "sheet.html",
    ];
    assert_eq!(crate::run_in(written.path(), &arguments, b"").status, 0);
    let page = std::fs::read_to_string(written.path().join("sheet.html")).unwrap();
    assert_eq!(answer.split_once("\r\n\r\n").unwrap().1, page);
}

#[test]
fn other_hosts_and_other_pages_are_refused() {
    let server = Server::start();
    let address = server.address.clone();
    let host = format!("Host: {address}\r\n");
    for lines in [
        "",
        "Host: evil.example\r\n",
        "Host: 127.0.0.1\r\n",
        &format!("{host}{host}"),
        &format!("Host: {address}.evil.example\r\n"),
    ] {
        assert_eq!(server.status(&server.page_request("GET", "/", lines)), 421, "{lines}");
    }
    assert_eq!(server.status(&server.page_request("GET", "http://evil.example/", &host)), 421);
    let json = "Content-Type: application/json\r\nContent-Length: 0\r\n";
    for line in [
        "Origin: http://evil.example\r\n",
        "Origin: null\r\n",
        "Origin: http://127.0.0.1:1\r\n",
        "Sec-Fetch-Site: cross-site\r\n",
        "Sec-Fetch-Site: same-site\r\n",
        "",
    ] {
        let status = server.status(&server.page_request("POST", "/api/assess", &format!("{host}{json}{line}")));
        assert_eq!(status, 403, "{line}");
    }
    let own = format!("{host}{json}Origin: http://{address}\r\n");
    assert_eq!(
        server.status(&server.page_request("POST", "/api/assess", &own)),
        400,
        "the page itself is let in, and asked nothing"
    );
    let no_key = format!("POST /api/assess HTTP/1.1\r\nConnection: close\r\n{own}\r\n");
    assert_eq!(server.status(no_key.as_bytes()), 403);
    server.assert_up();
}

#[test]
#[cfg(unix)]
fn nothing_outside_the_folder_is_read_or_written() {
    let outside = TempDir::new().unwrap();
    let formula = "[parts]\nbeeswax = 1\n";
    std::fs::write(outside.path().join("secret.toml"), formula).unwrap();
    let inside = outside.path().join("inside");
    std::fs::create_dir(&inside).unwrap();
    std::fs::create_dir(inside.join("folder.toml")).unwrap();
    std::fs::write(inside.join("here.toml"), formula).unwrap();
    std::fs::write(inside.join("notes.txt"), formula).unwrap();
    std::os::unix::fs::symlink("../secret.toml", inside.join("link.toml")).unwrap();
    std::os::unix::fs::symlink("../missing.toml", inside.join("dangling.toml")).unwrap();
    std::os::unix::fs::symlink("here.toml", inside.join("near.toml")).unwrap();
    std::os::unix::fs::symlink(outside.path(), inside.join("way")).unwrap();
    let server = Server::of(&inside, TempDir::new().unwrap(), &[]);
    let (_, listed) = server.ask("GET", "/api/files", &Value::Null);
    assert_eq!(listed, json!({ "files": ["here.toml", "near.toml"] }));
    assert_eq!(server.ask("GET", "/api/files/near.toml", &Value::Null).0, 200);
    let long = format!("/api/files/{}.toml", "x".repeat(5000));
    let absolute = format!("/api/files/{}%2Fsecret.toml", outside.path().display().to_string().replace('/', "%2F"));
    for path in [
        "/api/files/../secret.toml",
        "/api/files/..%2Fsecret.toml",
        "/api/files/..%2fsecret.toml",
        "/api/files/%2e%2e%2fsecret.toml",
        "/api/files/..%5Csecret.toml",
        "/api/files/....//secret.toml",
        "/api/files/way/secret.toml",
        "/api/files/way%2Fsecret.toml",
        "/api/files/link.toml",
        "/api/files/dangling.toml",
        "/api/files/folder.toml",
        "/api/files/notes.txt",
        "/api/files/secret.toml%00.toml",
        "/api/files/here.toml%00",
        "/api/files/%ff%fe.toml",
        "/api/files/",
        "/api/files/.",
        "/api/files/..",
        "//etc/passwd",
        &absolute,
        &long,
    ] {
        for (method, body) in [("GET", Value::Null), ("PUT", json!({ "bar": bar(), "digest": null }))] {
            let (status, answer) = server.ask(method, path, &body);
            assert!([400, 404, 405, 422].contains(&status), "{method} {path}: {status} {answer}");
        }
    }
    // Decoded once only: a strange name, but one of this folder.
    assert_eq!(server.ask("GET", "/api/files/%252e%252e%252fsecret.toml", &Value::Null).0, 422);
    assert_eq!(std::fs::read_to_string(outside.path().join("secret.toml")).unwrap(), formula);
    assert!(!outside.path().join("missing.toml").exists());
    let mut names: Vec<_> = std::fs::read_dir(&inside).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["dangling.toml", "folder.toml", "here.toml", "link.toml", "near.toml", "notes.txt", "way"]);
    server.assert_up();
}

#[test]
fn what_is_too_large_too_slow_or_no_http_is_cut_off() {
    let server = Server::start();
    // Stated too large, and grown too large piece by piece.
    let stated = format!(
        "POST /api/assess HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {}\r\nContent-Length: {}\r\n\r\n",
        server.address,
        server.token,
        LARGEST_BODY + 1
    );
    assert_eq!(server.status(stated.as_bytes()), 413);
    let mut chunked = format!(
        "POST /api/assess HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {}\r\nTransfer-Encoding: chunked\r\n\r\n",
        server.address, server.token
    )
    .into_bytes();
    let piece = format!("10000\r\n{}\r\n", "x".repeat(0x10000));
    for _ in 0..5 {
        chunked.extend(piece.as_bytes());
    }
    // Whoever still sends when the connection ends may lose the last word (0); it is cut off all the same.
    assert!([413, 0].contains(&server.status(&chunked)));
    let exact = format!("{{{}", " ".repeat(LARGEST_BODY - 1));
    assert_eq!(server.status(&server.request("POST", "/api/assess", &exact)), 400, "the largest request taken is read");

    for (bytes, wanted) in [
        (b"hello\r\n\r\n".to_vec(), vec![400]),
        (b"GET / HTTP/9.9\r\n\r\n".to_vec(), vec![400, 505]),
        (b"GET / HTTP/1.1\r\nHost: a\r\nBad Header: x\r\n\r\n".to_vec(), vec![400]),
        (b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n".to_vec(), vec![400]),
        (b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab".to_vec(), vec![400]),
        (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_vec(), vec![400, 505, 0]),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".to_vec(), vec![400, 0]),
        (format!("GET / HTTP/1.1\r\nX: {}\r\n\r\n", "x".repeat(100_000)).into_bytes(), vec![431, 0]),
        (format!("GET /{} HTTP/1.1\r\n\r\n", "x".repeat(100_000)).into_bytes(), vec![414, 431, 0]),
        (
            b"GET / HTTP/1.1\r\nHost: a\r\n"
                .to_vec()
                .into_iter()
                .chain(b"A: b\r\n".repeat(2000))
                .chain(*b"\r\n")
                .collect(),
            vec![431, 0],
        ),
    ] {
        let mut stream = server.connect();
        let _ = stream.write_all(&bytes);
        let _ = stream.shutdown(Shutdown::Write);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let status = status_of(&String::from_utf8_lossy(&answer));
        assert!(
            wanted.contains(&status),
            "{status}: {}",
            String::from_utf8_lossy(&bytes).chars().take(60).collect::<String>()
        );
    }
    for method in ["BREW", "DELETE", "TRACE", "OPTIONS", "PATCH"] {
        assert_eq!(server.ask(method, "/api/assess", &Value::Null).0, 405, "{method}");
    }
    assert_eq!(server.ask("CONNECT", "127.0.0.1:22", &Value::Null).0, 421);
    assert_eq!(server.ask("GET", "/api/assess", &Value::Null).0, 405);
    assert_eq!(server.ask("GET", "/nothing", &Value::Null).0, 404);

    // A head and a body that never end, at once; the page answers meanwhile.
    let mut head = server.connect();
    head.write_all(b"GET / HTTP/1.1\r\nHost: a\r\n").unwrap();
    let mut body = server.connect();
    let begun = String::from_utf8(server.request("POST", "/api/assess", ""))
        .unwrap()
        .replace("Content-Length: 0", "Content-Length: 99");
    body.write_all(begun.as_bytes()).unwrap();
    server.assert_up();
    let mut answer = String::new();
    body.read_to_string(&mut answer).unwrap();
    assert_eq!(status_of(&answer), 408, "{answer}");
    let mut rest = Vec::new();
    // The end is what counts: with a last word or without.
    let _ = head.read_to_end(&mut rest);
    server.assert_up();
}

#[test]
fn the_deliveries_of_the_profile_can_be_picked() {
    let profile = TempDir::new().unwrap();
    std::fs::write(profile.path().join("lots.toml"), "[lot.my-wax]\nlike = 'beeswax'\n").unwrap();
    let server = Server::with(TempDir::new().unwrap(), &["--profile", profile.path().to_str().unwrap()]);
    let (_, start) = server.ask("GET", "/api/start", &Value::Null);
    assert!(start["ingredients"].as_array().unwrap().iter().any(|one| one["key"] == "my-wax"), "{start}");
    std::fs::write(profile.path().join("lots.toml"), "[lot.my-wax]\nlike = 'beswax'\n").unwrap();
    assert_eq!(run(&["page", "--profile", profile.path().to_str().unwrap()]).status, 1);
}

/// One list: a fridge had 4 °C on the page and 5 °C in a plot.
#[test]
fn curves_of_the_page_are_marked_with_the_places_of_the_plots() {
    let folder = TempDir::new().unwrap();
    let plot = folder.path().join("bar.svg");
    let drawn = run(&["assess", "beeswax 30, olive oil 70", "--plot", plot.to_str().unwrap()]);
    assert_eq!(drawn.status, 0, "{}", drawn.stderr);
    let plot = std::fs::read_to_string(plot).unwrap();
    let server = Server::with(folder, &[]);
    let (_, start) = server.ask("GET", "/api/start", &Value::Null);
    let places = start["places"].as_array().unwrap();
    assert!(places.contains(&serde_json::json!(["fridge", 5.0])), "{start}");
    let marked: Vec<String> = places
        .iter()
        .map(|place| format!("{} {} °C", place[0].as_str().unwrap(), place[1].as_f64().unwrap()))
        .collect();
    assert!(plot.contains(&format!("Marked: {}.", marked.join(", "))), "{marked:?}");
}

/// Words that a hostile request may be made of.
const METHODS: [&str; 8] = ["GET", "POST", "PUT", "DELETE", "HEAD", "BREW", "OPTIONS", "get"];
const PATHS: [&str; 14] = [
    "/",
    "/api/assess",
    "/api/ask",
    "/api/ask?token=1",
    "/api/files",
    "/api/files/x.toml",
    "/api/files/..%2f..%2fetc%2fpasswd",
    "/sheet",
    "/page.js",
    "*",
    "http://evil.example/",
    "/%00",
    "/api/start?token=1",
    "/api/files/%ff.toml",
];
const HEADERS: [&str; 14] = [
    "Host: evil.example",
    "Origin: null",
    "Origin: http://evil.example",
    "Sec-Fetch-Site: cross-site",
    "Content-Length: 5",
    "Content-Length: 99999999",
    "Transfer-Encoding: chunked",
    "Expect: 100-continue",
    "Upgrade: websocket",
    "Cookie: barwright-1=x; ;;=",
    "Authorization: Bearer x",
    "X: \u{e9}",
    "Content-Type: application/json",
    "Connection: keep-alive, upgrade",
];
const BODIES: [&str; 8] = [
    "",
    "{}",
    "{\"formulas\":[]",
    "5\r\nhello\r\n0\r\n\r\n",
    "fffffffffffffffff\r\n",
    "{\"formulas\":[{\"name\":\"x\",\"parts\":[{\"ingredient\":\"beeswax\",\"amount\":1e308}]}]}",
    "ask=%7B%7D",
    "\u{0}\u{1}\u{2}",
];

/// Sends one hostile request and returns the status, 0 for a connection ended without one.
fn hostile(server: &Server, random: &mut Pcg64) -> u16 {
    let mut pick = |words: &[&'static str]| words[random.random_range(0..words.len())];
    let (method, path, body) = (pick(&METHODS), pick(&PATHS), pick(&BODIES));
    let mut lines: Vec<String> = (0..3).map(|_| pick(&HEADERS).to_owned()).collect();
    // Every second one gets past the gate, to try what is behind it.
    if random.random_bool(0.5) {
        lines.retain(|line| !["Host", "Origin", "Sec-Fetch", "Auth"].iter().any(|name| line.starts_with(name)));
        lines.push(format!("Host: {}", server.address));
        lines.push(format!("Authorization: Bearer {}", server.token));
        if random.random_bool(0.5) {
            lines.push(format!("Content-Length: {}", body.len()));
        }
    }
    let mut bytes =
        format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n{}\r\n\r\n{body}", lines.join("\r\n")).into_bytes();
    for _ in 0..random.random_range(0..8_usize).saturating_sub(4) {
        let at = random.random_range(0..bytes.len());
        bytes[at] = random.random();
    }
    let mut stream = server.connect();
    let _ = stream.write_all(&bytes);
    // A server that waits for more is told that no more is coming.
    stream.set_read_timeout(Some(Duration::from_millis(100))).unwrap();
    let mut answer = Vec::new();
    if stream.read_to_end(&mut answer).is_err() {
        let _ = stream.shutdown(Shutdown::Write);
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let _ = stream.read_to_end(&mut answer);
    }
    let status = status_of(&String::from_utf8_lossy(&answer));
    assert!(status != 500 && status < 504, "{status} after {:?}", String::from_utf8_lossy(&bytes));
    status
}

#[test]
#[allow(clippy::print_stdout, reason = "the figures are told with --nocapture")]
fn sixteen_hundred_hostile_requests_change_nothing() {
    let server = Server::start();
    let hostile_ones = |seed| {
        let mut random = Pcg64::seed_from_u64(seed);
        (0..200).map(|_| hostile(&server, &mut random)).collect::<Vec<_>>()
    };
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let all: Vec<_> = (0..8).map(|seed| scope.spawn(move || hostile_ones(seed))).collect();
        all.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    let mut counts = std::collections::BTreeMap::new();
    for status in statuses {
        *counts.entry(status).or_insert(0) += 1;
    }
    println!("answers by status, 0 for a connection ended without one: {counts:?}");
    assert!(std::fs::read_dir(server.folder.path()).unwrap().next().is_none(), "a hostile request wrote a file");
    server.assert_up();
}

/// What the process holds in memory, kB, as Linux's /proc has it.
#[cfg(target_os = "linux")]
fn resident_kb(server: &Server) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", server.child.id())).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    line.trim().trim_end_matches(" kB").trim().parse().unwrap()
}

/// Sends requests on one connection that is kept; returns how many were answered with 200.
fn client(server: &Server, requests: usize) -> usize {
    let body = json!({ "formulas": [bar()], "options": conditions(), "moving": true }).to_string();
    let mut stream = BufReader::new(server.connect());
    let mut answered = 0;
    for number in 0..requests {
        // One in ten is a moving slider, the others are light.
        let request = if number % 10 == 0 {
            server.request("POST", "/api/assess", &body)
        } else {
            server.request("GET", ["/api/files", "/page.css", "/nothing"][number % 3], "")
        };
        let request = String::from_utf8(request).unwrap().replace("Connection: close", "Connection: keep-alive");
        stream.get_mut().write_all(request.as_bytes()).unwrap();
        let (mut length, mut head) = (0, String::new());
        loop {
            let mut line = String::new();
            stream.read_line(&mut line).unwrap();
            if line == "\r\n" || line.is_empty() {
                break;
            }
            if let Some(value) = line.to_lowercase().strip_prefix("content-length:") {
                length = value.trim().parse().unwrap();
            }
            head.push_str(&line);
        }
        let mut content = vec![0; length];
        stream.read_exact(&mut content).unwrap();
        answered += usize::from([200, 404].contains(&status_of(&head)));
    }
    answered
}

#[test]
#[cfg(target_os = "linux")]
#[allow(clippy::print_stdout, reason = "the figures are told with --nocapture")]
fn fifty_clients_are_all_answered_and_memory_stays_flat() {
    // The full figure, 200 requests each, is taken by hand with BARWRIGHT_LOAD=200.
    let each = std::env::var("BARWRIGHT_LOAD").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    let server = Server::start();
    let wave = |clients: usize, each: usize| -> usize {
        std::thread::scope(|scope| {
            let all: Vec<_> = (0..clients).map(|_| scope.spawn(|| client(&server, each))).collect();
            all.into_iter().map(|one| one.join().unwrap()).sum()
        })
    };
    // The first wave makes what is kept: workbench, threads' buffers, connections.
    assert_eq!(wave(50, each), 50 * each);
    let before = resident_kb(&server);
    let began = Instant::now();
    assert_eq!(wave(50, each), 50 * each);
    let after = resident_kb(&server);
    println!(
        "{} requests in {:.1} s, memory {before} kB before and {after} kB after",
        50 * each,
        began.elapsed().as_secs_f64()
    );
    // A leak of one answer's size a request would be tens of megabytes.
    assert!(after < before + 8 * 1024, "memory grew from {before} to {after} kB");
}

#[test]
#[cfg(unix)]
fn it_says_why_it_cannot_start_and_ends_when_told() {
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let refused = run(&["page", "--port", &port]);
    assert_eq!(refused.status, 1);
    assert!(refused.stderr.contains("cannot be used") && refused.stderr.contains("--port"), "{}", refused.stderr);
    let refused = run(&["page", "--folder", "nowhere"]);
    assert_eq!(refused.status, 1);
    assert!(refused.stderr.contains("there is no folder `nowhere`"), "{}", refused.stderr);
    assert_eq!(run(&["page", "--listen", "everywhere"]).status, 2);

    let mut server = Server::start();
    server.assert_up();
    let ended = std::process::Command::new("kill").args(["-INT", &server.child.id().to_string()]).status().unwrap();
    assert!(ended.success());
    assert_eq!(server.child.wait().unwrap().code(), Some(0));
    let mut said = String::new();
    server.stderr.read_to_string(&mut said).unwrap();
    assert!(said.contains("Ctrl-C ends the page") && !said.contains("warning"), "{said}");
}

#[test]
fn another_address_is_served_on_demand_only_and_with_a_warning() {
    let mut server = Server::with(TempDir::new().unwrap(), &["--listen", "0.0.0.0"]);
    let port = server.address.rsplit_once(':').unwrap().1.to_owned();
    server.address = format!("127.0.0.1:{port}");
    server.assert_up();
    let mut line = [0; 400];
    let _ = server.child.kill();
    let read = server.stderr.read(&mut line).unwrap();
    let mut said = String::from_utf8_lossy(&line[..read]).into_owned();
    server.stderr.read_to_string(&mut said).unwrap();
    assert!(said.contains("warning: 0.0.0.0 is not this computer's own address"), "{said}");
    // Without the flag, nothing but the loopback address is bound.
    assert!(Server::start().address.starts_with("127.0.0.1:"));
}
