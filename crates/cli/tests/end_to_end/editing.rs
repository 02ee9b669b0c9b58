//! Edits: appended by one command, played by the next.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::{Folder, Run, Sleeve, loopwright, word};

/// Appends an edit by its words.
fn edit(job: &Path, words: &str) -> Run {
    let mut all = vec!["edit", word(job)];
    all.extend(words.split(' '));
    loopwright(&all)
}

/// Runs the job into a folder of its own.
fn run(job: &Path, folder: &Folder, name: &str) -> (Run, Vec<u8>, Value) {
    let out = folder.join(name);
    let run = loopwright(&["run", word(job), "--out", word(&out), "--pictures", "0"]);
    let surface = fs::read(out.join("surface.obj")).unwrap();
    let findings = fs::read(out.join("findings.json")).unwrap();
    (run, surface, serde_json::from_slice(&findings).unwrap())
}

fn quads(surface: &[u8]) -> usize {
    let text = std::str::from_utf8(surface).unwrap();
    text.lines().filter(|line| line.starts_with("f ")).count()
}

/// Sentences of findings with a code.
fn said(findings: &Value, code: &str) -> Vec<String> {
    let all = findings["findings"].as_array().unwrap().iter();
    all.filter(|f| f["code"] == code)
        .map(|f| f["sentence"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn edits_are_appended_and_played_at_each_run() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let before = fs::read_to_string(&job).unwrap();
    let (plain, surface, _) = run(&job, &folder, "plain");
    assert_eq!(plain.status, Some(0), "{plain:?}");
    let start = quads(&surface);

    // Around the upper arm: no guide is crossed, so no promise is touched.
    let appended = edit(&job, "insert --at 0,7.7,4 --along 1,0,0");
    assert_eq!(appended.status, Some(0), "{appended:?}");
    let text = fs::read_to_string(&job).unwrap();
    let added = text.strip_prefix(before.as_str()).unwrap();
    let line = 1 + text.lines().position(|l| l == "[[edit]]").unwrap();
    assert!(added.contains("do = \"insert\""), "{added}");
    assert!(
        appended
            .stdout
            .contains(&format!("sleeve.toml:{line}: edit 1 added"))
    );
    let (first, surface, findings) = run(&job, &folder, "first");
    assert_eq!(first.status, Some(0), "{first:?}\n{findings}");
    assert_eq!(quads(&surface), start + 12);
    let played = said(&findings, "edit-played");
    assert_eq!(
        played,
        [format!("Edit 1 (insert, line {line}) split 6 quads.")]
    );
    assert_eq!(run(&job, &folder, "again").1, surface, "the same bytes");

    // Along the arm, named on the mirrored side: every guide gains two.
    let along = "insert --at -2,7.7,-3.46 --along 0,1,0 --recount";
    assert_eq!(edit(&job, along).status, Some(0));
    let (second, surface, findings) = run(&job, &folder, "second");
    assert_eq!(second.status, Some(0), "{second:?}\n{findings}");
    assert!(quads(&surface) > start + 12);
    let counted = said(&findings, "edit-count");
    assert_eq!(counted.len(), 3, "{counted:?}");
    assert!(
        counted.iter().all(|s| s.contains("from 12 to 14")),
        "{counted:?}"
    );
    let guides = said(&findings, "guide-count");
    assert!(
        guides.iter().all(|s| s.contains("14 edges, as asked")),
        "{guides:?}"
    );
}

#[test]
fn an_edit_that_breaks_a_promise_or_finds_no_place_is_told_by_its_line() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    for words in [
        "remove --at 0,7.7,60 --along 1,0,0",
        "remove --at 1.8756,23,4 --along 0.866,-0.5,0",
        "insert --at 2,7.7,3.46 --along 0,1,0",
        "slide --at 0,7.7,4 --along 1,0,0 --share -0.3",
        "move --at 2,7.7,3.46 --to 2.1,7.8,3.4 --relax 1",
    ] {
        let appended = edit(&job, words);
        assert_eq!(appended.status, Some(0), "{appended:?}");
    }
    let text = fs::read_to_string(&job).unwrap();
    let lines: Vec<usize> = (1..)
        .zip(text.lines())
        .filter(|(_, line)| *line == "[[edit]]")
        .map(|(number, _)| number)
        .collect();
    let (run, _, findings) = run(&job, &folder, "out");
    assert_eq!(run.status, Some(1), "{run:?}");
    let lost = said(&findings, "edit-no-place");
    assert_eq!(lost.len(), 1, "{findings}");
    assert!(lost[0].starts_with(&format!(
        "Edit 1 (remove, line {}) was not played",
        lines[0]
    )));
    let refused = said(&findings, "edit-refused");
    assert_eq!(refused.len(), 1, "{findings}");
    assert!(refused[0].starts_with(&format!("Edit 2 (remove, line {})", lines[1])));
    assert!(refused[0].contains("guide 'elbow'"), "{refused:?}");
    assert_eq!(said(&findings, "edit-played").len(), 3);
    let counts = said(&findings, "guide-count");
    let fails = counts
        .iter()
        .filter(|s| s.contains("has 14 edges, but 12 were asked"));
    assert_eq!(fails.count(), 3, "{counts:?}");
    let broken = said(&findings, "edit-count");
    assert_eq!(broken.len(), 3, "{broken:?}");
    assert!(
        broken
            .iter()
            .all(|s| s.contains(&format!("line {}", lines[2])) && s.contains("recount"))
    );
}

#[test]
fn an_edit_that_a_job_cant_have_is_refused_and_leaves_the_job_as_it_was() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let before = fs::read(&job).unwrap();
    for (words, part) in [
        (
            "slide --at 0,7,4 --along 1,0,0 --share 1",
            "above -1 and below 1",
        ),
        ("insert --at 0,7,4 --along 0,0,0", "points nowhere"),
        ("move --at 0,7,4 --to 0,7,5 --relax 99", "from 0 to 8"),
        ("insert --at 0,7 --along 0,1,0", "three numbers"),
        ("turn --at 0,7,4", "unexpected argument"),
    ] {
        let refused = edit(&job, words);
        assert_eq!(refused.status, Some(2), "{refused:?}");
        assert!(refused.stderr.contains(part), "{refused:?}");
        assert_eq!(fs::read(&job).unwrap(), before);
    }
}
