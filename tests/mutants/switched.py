#!/usr/bin/env python3
"""Every fault that `cargo mutants --list` names for a crate, in one build: each stands behind a switch, and an environment variable turns one on.

Called by `run CRATE --switched`. A build a fault takes hours for a large crate; this takes one build. Each test is run once to note which faults it comes by,
and then, for each fault, those tests that come by it, quick ones first, up to the first that fails. It works in place:
the crate's folder must be as committed, and is put back at the end. Faults that cannot stand behind a switch (the type of an opaque return, a `let` in a
chain) are listed as `left`: they are for `cargo mutants` itself.

    pip install tree-sitter==0.26.1 tree-sitter-rust==0.24.2
"""
import argparse
import ctypes
import json
import os
import re
import resource
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import tree_sitter
import tree_sitter_rust

# A number turns that fault on; the name of a file asks for the numbers of the faults come by, one a line.
VARIABLE = "BARWRIGHT_FAULT"
SWITCH = f"""
#[doc(hidden)]
pub fn __fault(number: u32) -> bool {{
    use std::sync::atomic::{{AtomicBool, AtomicU32, Ordering}};
    const UNKNOWN: u32 = u32::MAX;
    const NOTING: u32 = u32::MAX - 1;
    static ACTIVE: AtomicU32 = AtomicU32::new(UNKNOWN);
    static NOTED: [AtomicBool; 1 << 14] = [const {{ AtomicBool::new(false) }}; 1 << 14];
    let mut active = ACTIVE.load(Ordering::Relaxed);
    if active == UNKNOWN {{
        active = match std::env::var("{VARIABLE}") {{
            Ok(text) => text.parse().unwrap_or(NOTING),
            Err(_) => 0,
        }};
        ACTIVE.store(active, Ordering::Relaxed);
    }}
    if active == NOTING && !NOTED[number as usize].swap(true, Ordering::Relaxed) {{
        let path = std::env::var_os("{VARIABLE}").unwrap_or_default();
        let file = std::fs::OpenOptions::new().append(true).open(path);
        let _ = file.and_then(|mut file| std::io::Write::write_all(&mut file, format!("{{number}}\\n").as_bytes()));
    }}
    active == number
}}
"""
# Builds in which faults that do not compile are dropped, before something else must be wrong.
MAX_BUILDS = 60
# Tests may take this long, s, and this many times what they take without a fault.
TIMEOUT = (15, 5)
# Tests quicker than this, s, are run together.
QUICK = 0.3
# Faults after which what was found is written down.
SAVED_EVERY = 20
# Memory, and the largest file, that a faulty test may take, bytes.
MAX_MEMORY, LARGEST_FILE = 8 << 30, 1 << 30
PARSER = tree_sitter.Parser(tree_sitter.Language(tree_sitter_rust.language()))


class Source:
    """A file as committed, with its syntax tree."""

    def __init__(self, path):
        self.text = Path(path).read_bytes()
        self.line_starts = [0] + [at + 1 for at, byte in enumerate(self.text) if byte == 10]
        self.root = PARSER.parse(self.text).root_node

    def offset(self, place):
        """Byte of a line and a column, both from 1, the column in characters."""
        start = self.line_starts[place["line"] - 1]
        line = self.text[start:].split(b"\n", 1)[0].decode()
        return start + len(line[: place["column"] - 1].encode())

    def around(self, start, end, kinds):
        """The innermost node of one of these kinds that holds the bytes."""
        node = self.root.descendant_for_byte_range(start, end)
        while node is not None and node.type not in kinds:
            node = node.parent
        return node

    def of(self, node):
        return self.text[node.start_byte : node.end_byte]


def placed(source, mutant):
    """What is rewritten for a fault, as (kind, node, replacement); None where a switch cannot do it."""
    start, end = (source.offset(mutant["span"][side]) for side in ("start", "end"))
    genre, replacement = mutant["genre"], mutant["replacement"].encode()
    if genre == "FnValue":
        function = source.around(start, end, ["function_item"])
        body, returned = (function and function.child_by_field_name(name) for name in ("body", "return_type"))
        opaque = returned is not None and b"impl " in source.of(returned)
        return None if body is None or opaque else ("function", body, replacement)
    if genre == "BinaryOperator":
        node = source.root.descendant_for_byte_range(start, end).parent
        if node is None or node.type not in ("binary_expression", "compound_assignment_expr"):
            return None
        left, right = (source.of(node.child_by_field_name(side)) for side in ("left", "right"))
        if node.type == "compound_assignment_expr":
            return "expression", node, left + b" " + replacement + b" " + right
        return "expression", node, b"(" + left + b") " + replacement + b" (" + right + b")"
    if genre == "UnaryOperator":
        node = source.around(start, end, ["unary_expression"])
        right_one = node is not None and node.start_byte == start
        return ("expression", node, source.of(node.named_children[-1])) if right_one else None
    if genre == "MatchArmGuard":
        pattern = source.around(start, end, ["match_pattern"])
        guard = pattern and pattern.child_by_field_name("condition")
        return None if guard is None or guard.type in ("let_chain", "let_condition") else ("expression", guard, replacement)
    if genre == "MatchArm":
        arm = source.around(start, end, ["match_arm"])
        return arm and ("arm", arm.child_by_field_name("pattern"), b"")
    if genre == "StructField":
        node = source.around(start, end, ["struct_expression"])
        comma = re.match(rb"\s*,", source.text[end:])
        return node and ("expression", node, source.text[node.start_byte : start] + source.text[end + (comma.end() if comma else 0) : node.end_byte])
    return None


def rewritten(source, wanted):
    """The text with every wanted fault behind its switch; marks in comments tell where each stands."""

    def build(node):
        parts, at = [], node.start_byte
        for child in node.children:
            parts += [source.text[at : child.start_byte], build(child)]
            at = child.end_byte
        own = b"".join(parts) + source.text[at : node.end_byte]
        here = wanted.get((node.start_byte, node.end_byte, node.type), [])
        chosen = lambda kind: [(number, text) for one, number, text in here if one == kind]
        if expressions := chosen("expression"):
            numbers = b" ".join(b"%d" % number for number, _ in expressions)
            chain = b"".join(b"if crate::__fault(%d) { /*<%d*/ %s /*%d>*/ } else " % (n, n, text, n) for n, text in expressions)
            own = b"/*[%s*/ (%s{ %s }) /*]*/" % (numbers, chain, own)
        if functions := chosen("function"):
            own = b"{" + b"".join(b" if crate::__fault(%d) { /*<%d*/ return %s; /*%d>*/ }" % (n, n, text, n) for n, text in functions) + own[1:]
        if arms := chosen("arm"):
            test = b" && ".join(b"/*<%d*/ !crate::__fault(%d) /*%d>*/" % (n, n, n) for n, _ in arms)
            guard = node.child_by_field_name("condition")
            if guard is None:
                return own + b" if " + test
            head = source.text[node.start_byte : guard.start_byte]
            own = head + test + b" && (" + own[len(head) :] + b")"
        return own

    return build(source.root)


def marks(text):
    """Where faults and the expressions around them stand, as (start, end, numbers, whether it is the fault itself)."""
    found, opened, around = [], {}, []
    for match in re.finditer(rb"/\*(?:<(\d+)|(\d+)>|\[([\d ]+)|(\]))\*/", text):
        begins, ends, wrapped, _ = match.groups()
        if begins:
            opened[int(begins)] = match.start()
        elif ends:
            found.append((opened[int(ends)], match.end(), [int(ends)], True))
        elif wrapped:
            around.append((match.start(), [int(number) for number in wrapped.split()]))
        else:
            start, numbers = around.pop()
            found.append((start, match.end(), numbers, False))
    return found


def to_blame(error, texts):
    """The faults a compiler error is about, and whether they are what does not compile; else what stands around it does not."""
    spans, queue = [], [error]
    while queue:
        one = queue.pop()
        spans += [span for span in one.get("spans", []) if span["file_name"] in texts]
        queue += one.get("children", [])
    smallest = lambda several: set(min(several, key=lambda mark: mark[1] - mark[0])[2]) if several else set()
    for primary in (True, False):
        itself = set()
        for span in (span for span in spans if span["is_primary"] or not primary):
            start, end = span["byte_start"], span["byte_end"]
            itself |= smallest([mark for mark in marks(texts[span["file_name"]]) if mark[3] and mark[0] <= start and end <= mark[1]])
        if itself:
            return itself, "unviable"
    around = set()
    for span in spans:
        start, end = span["byte_start"], span["byte_end"]
        wide = [mark for mark in marks(texts[span["file_name"]]) if not mark[3]]
        around |= smallest([mark for mark in wide if mark[0] <= start and end <= mark[1]] or [mark for mark in wide if start <= mark[0] and mark[1] <= end])
    return around, "left"


def built(arguments, sources, places, status, environment):
    """Builds the tests with all faults that compile; returns the test binaries."""
    root = f"{arguments.folder}/{arguments.root}"
    root_text = Path(root).read_bytes()
    for _ in range(MAX_BUILDS):
        texts = {}
        for path, source in sources.items():
            wanted = {}
            for number, (where, kind, node, text) in places.items():
                if where == path:
                    wanted.setdefault((node.start_byte, node.end_byte, node.type), []).append((kind, number, text))
            texts[path] = rewritten(source, wanted)
        texts[root] = texts.get(root, root_text) + SWITCH.encode()
        for path, text in texts.items():
            Path(path).write_bytes(text)
        command = ["cargo", "test", "--no-run", "--message-format=json", "--package", arguments.package, *arguments.target]
        build = subprocess.run(command, env=environment, capture_output=True)
        messages = [json.loads(line) for line in build.stdout.splitlines() if line.startswith(b"{")]
        if build.returncode == 0:
            tests = [one for one in messages if one.get("executable") and one["profile"]["test"]]
            return [one["executable"] for one in tests]
        errors = [one["message"] for one in messages if one.get("reason") == "compiler-message" and one["message"]["level"] == "error"]
        dropped = {}
        for error in errors:
            numbers, why = to_blame(error, texts)
            dropped.update(dict.fromkeys(numbers, why))
        if not dropped:
            sys.exit("".join(error["rendered"] for error in errors)[:4000] or build.stderr.decode()[-4000:])
        for number, why in dropped.items():
            places.pop(number, None)
            status[number] = why
        print(f"{len(errors)} errors, {len(dropped)} faults do not compile", flush=True)
    sys.exit("faults that do not compile were dropped again and again; something else is wrong")


def limited():
    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY, MAX_MEMORY))
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST_FILE, LARGEST_FILE))
    ctypes.CDLL(None).prctl(1, 9)  # PR_SET_PDEATHSIG: a test that never ends does not outlive this program.


def ran(binary, names, value, arguments, environment, timeout=None):
    """Runs some tests of one binary; returns how it ended and what was printed."""
    environment = dict(environment, **{VARIABLE: value, "RUST_TEST_THREADS": "1"})
    done = subprocess.run([binary, "--exact", *names], env=environment, cwd=arguments.home, stdin=subprocess.DEVNULL,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=timeout, preexec_fn=limited)
    return done.returncode, done.stdout.decode(errors="replace")


def come_by(binaries, arguments, environment):
    """The tests that come by each fault, as {number: [(seconds, binary, name)]}, quick ones first."""
    tests = []
    for binary in binaries:
        listed = subprocess.run([binary, "--list", "--format=terse", *arguments.test], env=environment, cwd=arguments.home, capture_output=True, check=True)
        tests += [(binary, line.removesuffix(": test")) for line in listed.stdout.decode().splitlines() if line.endswith(": test")]

    def noted(test):
        binary, name = test
        with tempfile.NamedTemporaryFile() as file:
            began = time.monotonic()
            code, printed = ran(binary, [name], file.name, arguments, environment)
            if code != 0:
                sys.exit(f"{name} fails without a fault:\n" + printed[-4000:])
            return time.monotonic() - began, binary, name, [int(line) for line in Path(file.name).read_text().split()]

    found = {}
    with ThreadPoolExecutor(arguments.jobs) as pool:
        for seconds, binary, name, numbers in pool.map(noted, tests):
            for number in numbers:
                found.setdefault(number, []).append((seconds, binary, name))
    print(f"{len(tests)} tests come by {len(found)} faults", flush=True)
    return {number: sorted(several) for number, several in found.items()}


def tried(number, tests, arguments, environment):
    """Runs the tests that come by a fault, up to the first that fails."""
    together = {}
    for seconds, binary, name in tests:
        together.setdefault((binary, "" if seconds < QUICK else name), []).append((seconds, name))
    for (binary, _), several in together.items():
        try:
            longest = TIMEOUT[0] + TIMEOUT[1] * sum(seconds for seconds, _ in several)
            code, _ = ran(binary, [name for _, name in several], str(number), arguments, environment, longest)
        except subprocess.TimeoutExpired:
            return "timeout"
        if code != 0:
            return "caught"
    return "missed"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--package", required=True)
    parser.add_argument("--folder", required=True, help="folder of the crate")
    parser.add_argument("--root", default="src/lib.rs", help="root module in that folder")
    parser.add_argument("--out", required=True, help="JSON file for the outcome of each fault")
    parser.add_argument("--file", action="append", required=True, help="files to put faults in")
    parser.add_argument("--target", action="append", required=True, help="what cargo test builds, such as --target=--lib")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    parser.add_argument("--again", action="store_true", help="try only what the file of outcomes says was missed")
    parser.add_argument("test", nargs="*", help="arguments of the test binaries")
    arguments = parser.parse_args()
    Path(arguments.out).parent.mkdir(parents=True, exist_ok=True)
    if subprocess.run(["git", "status", "--porcelain", "--", arguments.folder], capture_output=True, check=True).stdout:
        sys.exit(f"{arguments.folder} is not as committed, and would be lost")
    metadata = subprocess.run(["cargo", "metadata", "--no-deps", "--format-version=1"], capture_output=True, check=True).stdout
    packages = {one["name"]: os.path.dirname(one["manifest_path"]) for one in json.loads(metadata)["packages"]}
    arguments.home = packages[arguments.package]

    command = ["cargo", "mutants", "--list", "--json", "--package", arguments.package]
    command += [word for file in arguments.file for word in ("--file", file)]
    listed = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    sources, places, status = {}, {}, {}
    for number, mutant in enumerate(listed, 1):
        path = mutant["file"]
        source = sources.setdefault(path, None) or Source(path)
        sources[path] = source
        found = placed(source, mutant)
        if found is None:
            status[number] = "left"
        else:
            places[number] = (path, *found)
    environment = dict(os.environ, RUSTFLAGS="--cap-lints=warn -Awarnings", CARGO_INCREMENTAL="0", CARGO_PROFILE_DEV_DEBUG="0",
                       CARGO_MANIFEST_DIR=arguments.home, PROPTEST_DISABLE_FAILURE_PERSISTENCE="1", PROPTEST_MAX_SHRINK_ITERS="0", INSTA_UPDATE="no")
    try:
        binaries = built(arguments, sources, places, status, environment)
        reaching = come_by(binaries, arguments, environment)
        if arguments.again:
            before = {one["name"]: one["status"] for one in json.loads(Path(arguments.out).read_text())}
            status.update({n: before[listed[n - 1]["name"]] for n in places if before.get(listed[n - 1]["name"]) in ("caught", "timeout")})
        waiting = iter([number for number in sorted(places) if number not in status])
        lock = threading.Lock()

        def outcomes():
            return [dict(file=one["file"], name=one["name"], status=status.get(number, "not tried")) for number, one in enumerate(listed, 1)]

        def work():
            while True:
                with lock:
                    number = next(waiting, None)
                if number is None:
                    return
                status[number] = tried(number, reaching.get(number, []), arguments, environment)
                if status[number] == "missed":
                    print("missed:", listed[number - 1]["name"], flush=True)
                if number % SAVED_EVERY == 0:
                    with lock:
                        Path(arguments.out).write_text(json.dumps(outcomes(), indent=0))

        workers = [threading.Thread(target=work) for _ in range(arguments.jobs)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()
    finally:
        subprocess.run(["git", "checkout", "-q", "--", arguments.folder], check=True)
    outcome = outcomes()
    Path(arguments.out).write_text(json.dumps(outcome, indent=0))
    counts = {}
    for one in outcome:
        counts[one["status"]] = counts.get(one["status"], 0) + 1
    viable = sum(counts.get(kind, 0) for kind in ("caught", "timeout", "missed"))
    print(f"{len(outcome)} faults, {viable} viable and tried, {viable - counts.get('missed', 0)} caught; {counts}")


main()
