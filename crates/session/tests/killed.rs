//! Whatever moment the program is killed at, the job file is whole and at most the last edit is lost.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use loopwright_session::Document;

const COAT: &str = "job = 1\n[sculpt]\nfile = 'oilskin.ply'\n[density]\nfaces = 1000\n";
/// Tells the child process which job to edit.
const JOB: &str = "LOOPWRIGHT_TEST_JOB";
/// Every so many edits the child saves.
const SAVES: u32 = 7;
const KILLS: u64 = 200;

fn faces(document: &Document) -> u32 {
    match document.spec().density.size {
        files::Size::Faces(n) => n,
        files::Size::Edge(_) => panic!("the job asks for faces"),
    }
}

/// The child: edits without end, and says each edit that is done.
#[test]
fn child_edits_until_it_is_killed() {
    let Some(path) = std::env::var_os(JOB) else {
        return;
    };
    let (mut document, recovery) = Document::open(Path::new(&path)).unwrap();
    if let Some(recovery) = recovery {
        document.recover(&recovery).unwrap();
    }
    loop {
        let next = faces(&document) + 1;
        document
            .change("More", |spec| spec.set_faces(next).unwrap())
            .unwrap();
        if next.is_multiple_of(SAVES) {
            document.save().unwrap();
        }
        println!("done {next}");
        std::io::stdout().flush().unwrap();
    }
}

#[test]
fn two_hundred_kills_lose_at_most_the_last_edit() {
    let folder = std::env::temp_dir().join(format!("loopwright-killed-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let job: PathBuf = folder.join("coat.toml");
    std::fs::write(&job, COAT).unwrap();
    let mut reached = 1000;
    let mut chance = 0x2545_f491_4f6c_dd1d_u64;
    for kill in 0..KILLS {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["child_edits_until_it_is_killed", "--exact", "--nocapture"])
            .env(JOB, &job)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Xorshift, Marsaglia 2003: the moment differs from kill to kill.
        chance ^= chance << 13;
        chance ^= chance >> 7;
        chance ^= chance << 17;
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let first = lines
            .by_ref()
            .map(Result::unwrap)
            .find(|line| line.contains("done "));
        std::thread::sleep(Duration::from_micros(chance % 20_000));
        child.kill().unwrap();
        child.wait().unwrap();
        let rest = lines
            .map_while(Result::ok)
            .filter(|line| line.contains("done "));
        let last = rest.last().or(first).unwrap();
        let said: u32 = last.rsplit(' ').next().unwrap().parse().unwrap();
        let (mut document, recovery) = Document::open(&job).unwrap();
        if let Some(recovery) = recovery {
            document.recover(&recovery).unwrap();
        }
        let found = faces(&document);
        // An edit may be kept that the child couldn't tell of any more.
        assert!(
            found == said || found == said + 1,
            "kill {kill}: {found} of {said}"
        );
        assert!(found > reached, "kill {kill}: nothing was done");
        reached = found;
        // As the file has it for the next child.
        std::mem::forget(document);
    }
    let _ = std::fs::remove_dir_all(&folder);
}
