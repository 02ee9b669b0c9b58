//! Runs in child processes, so that a process that dies or hangs is recorded and the rest go on.

use std::io::{BufRead, BufReader, Read as _};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use crate::cases::{Entry, RunSpec, Selection};
use crate::record::{Ending, Message, Record};

/// How the harness runs.
#[derive(Clone, Copy, Debug)]
pub struct Harness {
    /// Processes at a time.
    pub jobs: usize,
    /// Seconds by the clock after which a run counts as hanging. The engine never sees it.
    pub guard: u64,
}

/// Runs all entries; `done` sees each record as it comes. The result is in the entries' order.
pub fn run_all(
    harness: &Harness,
    selection: &Selection,
    entries: &[Entry],
    child: impl Fn(&Entry, usize) -> Command + Sync,
    done: impl Fn(&Record) + Sync,
) -> Vec<Record> {
    let next = Mutex::new(0usize);
    let all: Mutex<Vec<(usize, Vec<Record>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..harness.jobs.max(1) {
            scope.spawn(|| {
                loop {
                    let mut counter = next.lock().unwrap_or_else(PoisonError::into_inner);
                    let number = *counter;
                    *counter += 1;
                    drop(counter);
                    let Some(entry) = entries.get(number) else {
                        return;
                    };
                    let runs = selection.runs(entry);
                    let records = run_entry(harness, entry, &runs, &child);
                    records.iter().for_each(&done);
                    let mut all = all.lock().unwrap_or_else(PoisonError::into_inner);
                    all.push((number, records));
                }
            });
        }
    });
    let mut all = all.into_inner().unwrap_or_else(PoisonError::into_inner);
    all.sort_by_key(|a| a.0);
    all.into_iter().flat_map(|a| a.1).collect()
}

/// What is known of a case and of the run that is going on.
struct Progress<'a> {
    entry: &'a Entry,
    runs: &'a [RunSpec],
    class: String,
    defects: Vec<String>,
    triangles: usize,
    /// The run at work, or the next one.
    at: usize,
    stage: String,
    records: Vec<Record>,
}

impl Progress<'_> {
    /// A record for the run at work that its process couldn't write.
    fn give_up(&mut self, ending: Ending, text: String, seconds: f64) {
        let Some(spec) = self.runs.get(self.at) else {
            return;
        };
        self.records.push(Record {
            case: self.entry.name.clone(),
            class: self.class.clone(),
            defects: self.defects.clone(),
            guides: spec.given.name().to_owned(),
            faces_asked: spec.faces,
            triangles: self.triangles,
            ending,
            stage: std::mem::take(&mut self.stage),
            text,
            failing: vec![],
            faces: 0,
            poles: 0,
            pole_need: 0,
            spirals: 0,
            jacobian: 0.0,
            cpu: seconds,
            seconds,
            reports: 0,
            stages: vec![],
        });
        self.at += 1;
    }

    fn hear(&mut self, message: Message) {
        match message {
            Message::Loaded(class, defects, triangles) => {
                (self.class, self.defects, self.triangles) = (class, defects, triangles);
            }
            Message::NoCase(text) => {
                while self.at < self.runs.len() {
                    self.give_up(Ending::NoCase, text.clone(), 0.0);
                }
            }
            Message::Begin(at) => {
                self.at = at;
                self.stage.clear();
            }
            Message::Stage(stage) => self.stage = stage,
            Message::End(record) => {
                self.records.push(*record);
                self.at += 1;
            }
        }
    }
}

/// Runs of one entry; after a process that ended badly, a new one goes on with the next run.
fn run_entry(
    harness: &Harness,
    entry: &Entry,
    runs: &[RunSpec],
    child: &(impl Fn(&Entry, usize) -> Command + Sync),
) -> Vec<Record> {
    let mut progress = Progress {
        entry,
        runs,
        class: String::new(),
        defects: vec!["unknown".to_owned()],
        triangles: 0,
        at: 0,
        stage: "loading".to_owned(),
        records: vec![],
    };
    while progress.at < runs.len() {
        let mut command = child(entry, progress.at);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        match command.spawn() {
            Ok(process) => follow(harness, process, &mut progress),
            Err(problem) => progress.give_up(Ending::Died, problem.to_string(), 0.0),
        }
    }
    progress.records
}

/// Listens to a process until it ends, or until one run takes longer than the guard.
fn follow(harness: &Harness, mut process: Child, progress: &mut Progress<'_>) {
    let (tell, heard) = mpsc::channel();
    let out = process.stdout.take();
    let reader = std::thread::spawn(move || {
        for line in out.into_iter().flat_map(|out| BufReader::new(out).lines()) {
            let message = line.ok().and_then(|l| serde_json::from_str(&l).ok());
            if let Some(message) = message
                && tell.send(message).is_err()
            {
                return;
            }
        }
    });
    let errors = process.stderr.take();
    let complaints = std::thread::spawn(move || {
        let mut text = String::new();
        if let Some(mut errors) = errors {
            let _ = errors.read_to_string(&mut text);
        }
        text
    });
    let mut left = harness.guard;
    let hangs = loop {
        match heard.recv_timeout(Duration::from_secs(1)) {
            Ok(message) => {
                if matches!(message, Message::Begin(_) | Message::End(_)) {
                    left = harness.guard;
                }
                progress.hear(message);
            }
            Err(RecvTimeoutError::Timeout) => {
                left = left.saturating_sub(1);
                if left == 0 {
                    break true;
                }
            }
            Err(RecvTimeoutError::Disconnected) => break false,
        }
    };
    if hangs {
        // The process is ours, by its handle.
        let _ = process.kill();
    }
    let status = process.wait();
    let _ = reader.join();
    let complaint = complaints.join().unwrap_or_default();
    if hangs {
        let text = format!("no end within {} s by the clock", harness.guard);
        progress.give_up(Ending::Hang, text, harness.guard as f64);
    } else if progress.at < progress.runs.len() {
        let last = complaint.lines().next_back().unwrap_or_default();
        let status = status.map_or_else(|e| e.to_string(), |s| s.to_string());
        progress.give_up(Ending::Died, format!("{status}; {last}"), 0.0);
    }
}
