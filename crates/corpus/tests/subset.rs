//! A dozen shapes in this process, and the harness with processes that end badly.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use std::path::PathBuf;
use std::process::Command;

use loopwright_corpus::cases::{Entry, Given, Origin, RunSpec, Selection};
use loopwright_corpus::parent::{Harness, run_all};
use loopwright_corpus::record::{Ending, Record};
use loopwright_corpus::{make, run, summary};

/// One of each class, most of them small; with holes, handles, mirror planes and defects.
const SUBSET: [usize; 12] = [0, 1, 2, 5, 12, 21, 30, 31, 37, 39, 47, 58];

/// Whatever the input, a run ends in a sound surface or in a refusal with words.
#[test]
fn a_dozen_shapes_end_in_sound_surfaces_or_refusals() {
    let mut records: Vec<Record> = Vec::new();
    for number in SUBSET {
        let case = make::made(number).unwrap();
        for given in [Given::None, Given::Full] {
            records.push(run::run(&case, RunSpec { given, faces: 300 }, |_| {}));
        }
    }
    let table: String = records.iter().map(summary::line).collect();
    for record in &records {
        assert!(!record.ending.is_fault(), "{}\n{table}", record.id());
        let refused = record.ending == Ending::Refused;
        assert_eq!(refused, !record.text.is_empty(), "{}\n{table}", record.id());
        // With guides, clean shapes all come out.
        if record.is_clean() && record.guides == "full" {
            assert!(record.ending.is_success(), "{}\n{table}", record.id());
        }
    }
}

/// A limb as thin as two quads with closed tips, and a ring around its middle: the tips were left bare, and quads
/// folded there. Two singular places of a tip shared a patch, and poles lay far from the ends of long patches.
#[test]
fn a_thin_limb_is_covered_to_its_tips() {
    let case = make::made(169).unwrap();
    let spec = RunSpec {
        given: Given::Full,
        faces: 300,
    };
    let record = run::run(&case, spec, |_| {});
    assert!(record.ending.is_success(), "{}", summary::line(&record));
    assert_eq!(record.failing, Vec::<String>::new());
}

fn entry() -> (Selection, Entry) {
    let selection = Selection {
        faces: vec![300, 1500],
        ..Selection::default()
    };
    let entry = Entry {
        name: "oilskin".to_owned(),
        origin: Origin::Bare(PathBuf::from("oilskin.ply")),
    };
    (selection, entry)
}

fn endings(script: &str, guard: u64) -> Vec<(Ending, String, String)> {
    let (selection, entry) = entry();
    let harness = Harness { jobs: 2, guard };
    let child = |_: &Entry, first: usize| {
        let mut command = Command::new("sh");
        command.args(["-c", script, "sh", &first.to_string()]);
        command
    };
    let records = run_all(&harness, &selection, &[entry], child, |_| {});
    let of = |r: Record| (r.ending, r.stage, r.text);
    records.into_iter().map(of).collect()
}

#[test]
fn a_process_that_dies_is_recorded_and_the_next_run_goes_on() {
    let script = r#"echo "{\"begin\":$1}"; echo '{"stage":"weave"}'; echo torn >&2; exit 3"#;
    let found = endings(script, 60);
    assert_eq!(found.len(), 2);
    for (ending, stage, text) in found {
        assert_eq!((ending, stage.as_str()), (Ending::Died, "weave"));
        assert_eq!(text, "exit status: 3; torn");
    }
}

#[test]
fn a_process_that_never_ends_is_stopped_and_recorded() {
    let found = endings(r#"echo "{\"begin\":$1}"; exec sleep 600"#, 1);
    assert_eq!(found.len(), 2);
    assert!(found.iter().all(|f| f.0 == Ending::Hang), "{found:?}");
}

#[test]
fn a_case_that_is_not_there_is_recorded_for_each_run() {
    let found = endings(r#"echo '{"no-case":"no such file"}'"#, 60);
    assert_eq!(found.len(), 2);
    for (ending, _, text) in found {
        assert_eq!((ending, text.as_str()), (Ending::NoCase, "no such file"));
    }
}
