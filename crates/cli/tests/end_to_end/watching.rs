//! `watch`: a run after each change, whatever the change, until Ctrl-C.

use std::fs;
use std::io::{BufRead as _, BufReader, Read};
use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use crate::figure;
use crate::support::{Folder, Sleeve, command, loopwright, names_in, sleeve_ply, word};
use crate::surface::Surface;

const RESULTS: [&str; 4] = ["findings.json", "report.html", "surface.glb", "surface.obj"];
/// Waits of a tenth of a second for a line: many runs' time on a slow machine.
const WAITS: usize = 3000;

/// The binary under way; killed in the end, come what may.
struct Watch {
    child: Child,
    stdout: Receiver<String>,
    stderr: Receiver<String>,
}

impl Watch {
    fn start(job: &Path, out: &Path, more: &[&str]) -> Self {
        let words = ["watch", word(job), "--out", word(out), "--pictures", "0"];
        let mut child = command(&[&words[..], more].concat())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        Self {
            stdout: lines(child.stdout.take().unwrap()),
            stderr: lines(child.stderr.take().unwrap()),
            child,
        }
    }

    /// The next line that says how a run went.
    fn line(&mut self) -> String {
        self.next(|watch| &watch.stdout)
    }

    /// The next line that says why there is no surface.
    fn refusal(&mut self) -> String {
        self.next(|watch| &watch.stderr)
    }

    fn next(&mut self, stream: impl Fn(&Self) -> &Receiver<String>) -> String {
        for _ in 0..WAITS {
            if let Ok(line) = stream(self).recv_timeout(Duration::from_millis(100)) {
                return line;
            }
            let ended = self.child.try_wait().unwrap();
            assert!(ended.is_none(), "it ended: {ended:?}, {:?}", self.rest());
        }
        panic!("no line came; the other ones: {:?}", self.rest());
    }

    /// Lines that nobody waited for.
    fn rest(&self) -> (Vec<String>, Vec<String>) {
        (
            self.stdout.try_iter().collect(),
            self.stderr.try_iter().collect(),
        )
    }

    /// Interrupts it as Ctrl-C does; lines that nobody waited for, the last words aside.
    fn end(mut self) -> (Vec<String>, Vec<String>) {
        let killed = std::process::Command::new("kill")
            .args(["-INT", &self.child.id().to_string()])
            .status()
            .unwrap();
        assert!(killed.success());
        // README.md's table of exit statuses.
        assert_eq!(self.child.wait().unwrap().code(), Some(130));
        let said = self.stdout.iter().collect();
        let mut complained: Vec<String> = self.stderr.iter().collect();
        let last = complained.pop().unwrap();
        assert!(last.contains("ended"), "{last}");
        (said, complained)
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn lines(stream: impl Read + Send + 'static) -> Receiver<String> {
    let (send, receive) = channel();
    thread::spawn(move || {
        let lines = BufReader::new(stream).lines().map_while(Result::ok);
        lines
            .take_while(|line| send.send(line.clone()).is_ok())
            .count()
    });
    receive
}

/// All that a run wrote, but for the report, which has times.
fn results(out: &Path) -> Vec<Vec<u8>> {
    assert_eq!(names_in(out), RESULTS);
    let lasting = RESULTS.iter().filter(|name| **name != "report.html");
    lasting
        .map(|name| fs::read(out.join(name)).unwrap())
        .collect()
}

fn faces(out: &Path) -> f64 {
    let text = fs::read_to_string(out.join("surface.obj")).unwrap();
    Surface::parse(&text).faces.len() as f64
}

#[test]
fn a_changed_job_runs_again_a_broken_one_is_refused_and_a_mended_one_runs() {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    let job = sleeve.put(&folder);
    let out = folder.join("out");
    let mut watch = Watch::start(&job, &out, &[]);
    let line = watch.line();
    assert!(
        line.starts_with("Ready: oilskin sleeve: ") && line.ends_with("report.html"),
        "{line}"
    );
    let first = results(&out);

    folder.write(
        "sleeve.toml",
        sleeve.text().replace("faces = 300", "faces = 600"),
    );
    let line = watch.line();
    assert!(line.contains("eady: oilskin sleeve: "), "{line}");
    assert!((faces(&out) / 600.0 - 1.0).abs() <= 0.03, "{}", faces(&out));
    let second = results(&out);

    folder.write("sleeve.toml", sleeve.text().replace("faces =", "face ="));
    let refusal = watch.refusal();
    for part in ["sleeve.toml:12:1: ", "unknown key 'face'", "'faces'"] {
        assert!(refusal.contains(part), "{refusal}");
    }
    folder.write("sleeve.toml", [0xff, 0xfe, 0, 1]);
    let refusal = watch.refusal();
    assert!(
        refusal.contains("sleeve.toml") && refusal.contains("UTF-8"),
        "{refusal}"
    );
    assert!(results(&out) == second);

    folder.write("sleeve.toml", sleeve.text());
    watch.line();
    assert!(results(&out) == first, "the same job gives another surface");
    assert_eq!(watch.end(), (vec![], vec![]));
    assert!(results(&out) == first);
}

#[test]
fn it_waits_for_files_that_are_not_there_and_follows_the_sculpt() {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    let (job, out) = (folder.join("sleeve.toml"), folder.join("out"));
    let mut watch = Watch::start(&job, &out, &["--json"]);
    // Programs read the same on standard output, a line of JSON a run.
    let refused = |watch: &mut Watch, parts: &[&str]| {
        let refusal = watch.refusal();
        let json: serde_json::Value = serde_json::from_str(&watch.line()).unwrap();
        assert_eq!(json["ready"], false);
        assert_eq!(
            format!("loopwright: {}", json["refused"].as_str().unwrap()),
            refusal
        );
        for part in parts {
            assert!(refusal.contains(part), "{refusal}");
        }
    };
    refused(
        &mut watch,
        &["sleeve.toml", "can't be read", "Check the name"],
    );
    folder.write("sleeve.toml", sleeve.text());
    refused(
        &mut watch,
        &["sleeve.toml:6: ", "sleeve.ply", "can't be read"],
    );
    assert!(!out.exists());

    folder.write("sleeve.ply", sleeve_ply());
    let json: serde_json::Value = serde_json::from_str(&watch.line()).unwrap();
    assert_eq!(json["ready"], true, "{json}");
    let first = results(&out);

    let whole = sleeve_ply();
    folder.write("sleeve.ply", &whole[..whole.len() / 2]);
    refused(&mut watch, &["sleeve.toml:6: ", "sleeve.ply", "room for"]);
    assert!(results(&out) == first);

    folder.write("sleeve.ply", files::ply_bytes(&demo::bent_tube(26_000)));
    let json: serde_json::Value = serde_json::from_str(&watch.line()).unwrap();
    assert_eq!(json["measures"]["counts"]["faces"], faces(&out));
    assert!(
        results(&out) != first,
        "another sculpt gives the same surface"
    );
    assert_eq!(watch.end(), (vec![], vec![]));
}

#[test]
fn held_quads_are_followed_too() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let (first, out) = (folder.join("first"), folder.join("out"));
    loopwright(&["run", word(&job), "--out", word(&first), "--pictures", "0"]);
    let surface = first.join("surface.obj");
    let words = [
        "--surface",
        word(&surface),
        "--name",
        "cuff",
        "--group",
        "elbow-wrist",
    ];
    let held = loopwright(&[&["hold", word(&job)], &words[..]].concat());
    assert_eq!(held.status, Some(0), "{held:?}");

    let mut watch = Watch::start(&job, &out, &[]);
    watch.line();
    let before = results(&out);
    let held = fs::read(folder.join("sleeve.cuff.obj")).unwrap();
    folder.write("sleeve.cuff.obj", "v 0 0 0\n");
    let refusal = watch.refusal();
    assert!(
        refusal.contains("hold 'cuff'") && refusal.contains("sleeve.cuff.obj"),
        "{refusal}"
    );
    assert!(results(&out) == before);
    folder.write("sleeve.cuff.obj", held);
    watch.line();
    assert!(results(&out) == before);
    assert_eq!(watch.end(), (vec![], vec![]));
}

#[test]
fn a_set_runs_again_with_the_parts_that_changed_and_a_broken_one_leaves_the_figure_as_it_is() {
    let folder = Folder::new();
    let (set, out) = (figure::put(&folder), folder.join("out"));
    let mut watch = Watch::start(&set, &out, &[]);
    let line = watch.line();
    assert!(
        line.starts_with("Ready: two sleeves: ") && line.ends_with("report.html"),
        "{line}"
    );
    let read = || ["figure.obj", "findings.json"].map(|name| fs::read(out.join(name)).unwrap());
    let made = || ["arm", "sleeve"].map(|part| figure::made_at(&out.join(part)));
    let (first, at_first) = (read(), made());

    // What only the sleeve asks for.
    let wider = figure::SET.replace("clearance = 0.5", "clearance = 0.6");
    folder.write("set.toml", &wider);
    watch.line();
    let (second, at_second) = (read(), made());
    assert!(second != first && at_second[0] == at_first[0] && at_second[1] != at_first[1]);

    folder.write("set.toml", wider.replace("share = 2", "shares = 2"));
    let refusal = watch.refusal();
    assert!(
        refusal.contains("set.toml:13:1: ") && refusal.contains("unknown key 'shares'"),
        "{refusal}"
    );
    folder.write("set.toml", &wider);
    watch.line();
    let job = fs::read_to_string(folder.join("arm.toml")).unwrap();
    folder.write("arm.toml", job.replace("faces =", "face ="));
    let refusal = watch.refusal();
    assert!(
        refusal.contains("arm.toml:12:1: ") && refusal.contains("unknown key 'face'"),
        "{refusal}"
    );
    folder.write("arm.toml", job);
    watch.line();
    let whole = fs::read(folder.join("arm.ply")).unwrap();
    folder.write("arm.ply", &whole[..whole.len() / 2]);
    let refusal = watch.refusal();
    for part in ["set.toml:7: part 'arm': ", "arm.ply", "room for"] {
        assert!(refusal.contains(part), "{refusal}");
    }
    assert!(
        read() == second && made() == at_second,
        "nothing else was made"
    );

    // A part beneath and so the one over it.
    folder.write("arm.ply", files::ply_bytes(&figure::arm(0.9)));
    watch.line();
    assert!(read() != second && made()[0] != at_second[0] && made()[1] != at_second[1]);
    assert_eq!(watch.end(), (vec![], vec![]));
}

#[test]
fn an_interrupt_while_it_runs_leaves_the_results_of_the_last_whole_run() {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    let job = sleeve.put(&folder);
    let out = folder.join("out");
    let mut watch = Watch::start(&job, &out, &[]);
    watch.line();
    let before = results(&out);
    folder.write(
        "sleeve.toml",
        sleeve.text().replace("faces = 300", "faces = 20000"),
    );
    // Long enough for the run to be under way as a rule; what must hold, holds at any moment.
    thread::sleep(Duration::from_millis(1500));
    let (said, complained) = watch.end();
    assert!(complained.is_empty(), "{complained:?}");
    // Either the new run got to its end and said so, or nothing of it is there.
    assert_eq!(results(&out) == before, said.is_empty(), "{said:?}");
}

#[test]
fn what_no_change_could_mend_ends_it_at_once() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let before = folder.names();
    let out = folder.join("out");
    let run = loopwright(&["watch", word(&job), "--out", word(&out), "--faces", "3"]);
    assert_eq!((run.status, run.stdout.as_str()), (Some(2), ""), "{run:?}");
    assert!(
        run.stderr.contains("--faces") && run.stderr.contains("50"),
        "{run:?}"
    );
    // Each job of a set says for itself how many.
    let set = folder.write("set.toml", figure::SET);
    let run = loopwright(&["watch", word(&set), "--out", word(&out), "--faces", "300"]);
    assert_eq!((run.status, run.stdout.as_str()), (Some(2), ""), "{run:?}");
    assert!(
        run.stderr.contains("--faces") && run.stderr.contains("set.toml' is a set file"),
        "{run:?}"
    );
    fs::remove_file(set).unwrap();
    // A file can't be a folder.
    let run = loopwright(&["watch", word(&job), "--out", word(&job)]);
    assert_eq!((run.status, run.stdout.as_str()), (Some(2), ""), "{run:?}");
    assert!(run.stderr.contains("can't write in the folder"), "{run:?}");
    assert_eq!(folder.names(), before);
}
