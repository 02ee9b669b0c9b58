//! `loopwright suggest` and the copies it leaves.

use std::fs;

use crate::support::{Folder, Sleeve, loopwright, sleeve_ply, word};

/// The sleeve's job without guides, with comments of an artist.
fn bare(folder: &Folder) -> std::path::PathBuf {
    folder.write("sleeve.ply", sleeve_ply());
    let head = Sleeve::new().head;
    let text = head.replace(
        "[density]",
        "# as light as it gets\n[density] # for the harbour scene",
    );
    folder.write("sleeve.toml", text)
}

#[test]
fn a_copy_keeps_the_job_and_adds_guides_that_run() {
    let folder = Folder::new();
    let job = bare(&folder);
    let before = fs::read_to_string(&job).unwrap();
    let copy = folder.join("proposed.toml");
    let run = loopwright(&["suggest", word(&job), "--out", word(&copy)]);
    assert_eq!(run.status, Some(0), "{}", run.stderr);
    assert!(run.stdout.contains("limb 1, bend"), "{}", run.stdout);
    assert_eq!(fs::read_to_string(&job).unwrap(), before);

    let text = fs::read_to_string(&copy).unwrap();
    // All that was there stands first, byte for byte.
    assert!(text.starts_with(before.trim_end()), "{text}");
    assert!(text.contains("# Proposed: the limb bends by "), "{text}");
    let parsed = files::JobFile::read(&copy).unwrap();
    let bend = &parsed.spec().guides[0];
    assert_eq!(bend.name, "limb 1, bend");
    assert!(bend.closed && bend.reason.is_some() && bend.confidence.unwrap() > 0.8);
    // 2πr over the edge that 300 faces mean on the tube's area, 2πr (32 + 7π) by Pappus.
    let girth = std::f64::consts::TAU * 4.0;
    let area = girth * (32.0 + 7.0 * std::f64::consts::PI);
    let quads = girth / (area / 300.0).sqrt();
    assert!((f64::from(bend.count.unwrap()) - quads).abs() <= 1.0);

    let out = folder.join("out");
    let run = loopwright(&["run", word(&copy), "--out", word(&out), "--pictures", "0"]);
    assert_eq!(run.status, Some(0), "{}{}", run.stdout, run.stderr);
}

#[test]
fn less_sure_proposals_can_be_left_out_and_the_bytes_repeat() {
    let folder = Folder::new();
    let job = bare(&folder);
    let all = loopwright(&["suggest", word(&job), "--json", "--threads", "1"]);
    let again = loopwright(&["suggest", word(&job), "--json", "--threads", "2"]);
    assert_eq!(all.stdout, again.stdout);
    let sure = loopwright(&["suggest", word(&job), "--json", "--least", "0.8"]);
    let of = |json: serde_json::Value| json["proposals"].as_array().unwrap().clone();
    let (all, sure) = (of(all.json()), of(sure.json()));
    assert!(sure.len() < all.len(), "{all:?}");
    assert!(
        sure.iter()
            .all(|p| p["confidence"].as_f64().unwrap() >= 0.8)
    );
    assert_eq!(folder.names(), ["sleeve.ply", "sleeve.toml"]);
}

#[test]
fn a_copy_in_another_folder_finds_the_sculpt_and_never_replaces_the_job() {
    let folder = Folder::new();
    let job = bare(&folder);
    let elsewhere = Folder::new();
    let copy = elsewhere.join("proposed.toml");
    let run = loopwright(&["suggest", word(&job), "--out", word(&copy)]);
    assert_eq!(run.status, Some(0), "{}", run.stderr);
    let parsed = files::JobFile::read(&copy).unwrap();
    assert!(parsed.sculpt_path().is_file());

    let run = loopwright(&["suggest", word(&job), "--out", word(&job)]);
    assert_eq!(run.status, Some(2));
    assert!(run.stderr.contains("is an input"), "{}", run.stderr);
}
