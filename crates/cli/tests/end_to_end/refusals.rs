//! What is refused: with the place and the way out, exit status 2, and nothing written.

use std::fs;
use std::path::Path;

use mesh::DVec3;

use crate::support::{Drawn, Folder, Sleeve, loopwright, sleeve_ply, word};

/// Runs a job that must be refused; the message must have all the parts, in that order.
fn refused(folder: &Folder, more: &[&str], parts: &[&str]) {
    let (job, out) = (folder.join("sleeve.toml"), folder.join("out"));
    let before = folder.names();
    let words = ["run", word(&job), "--out", word(&out), "--pictures", "0"];
    let run = loopwright(&[&words[..], more].concat());
    assert_eq!(run.status, Some(2), "{run:?}");
    assert_eq!(run.stdout, "");
    let mut rest = run.stderr.as_str();
    for part in parts {
        let at = rest.find(part);
        assert!(
            at.is_some(),
            "'{part}' isn't where it should be in: {}",
            run.stderr
        );
        rest = &rest[at.unwrap() + part.len()..];
    }
    assert_eq!(folder.names(), before, "something was written");
}

/// As [`refused`], for a job in which one text is replaced by another.
fn refused_change(old: &str, new: &str, parts: &[&str]) {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    sleeve.put(&folder);
    let text = sleeve.text();
    assert_eq!(text.matches(old).count(), 1, "'{old}' isn't there once");
    folder.write("sleeve.toml", text.replace(old, new));
    refused(&folder, &[], parts);
}

/// As [`refused`], for a sleeve whose guides are drawn in another way.
fn refused_guides(change: impl Fn(&mut Vec<Drawn>), at: &str, parts: &[&str]) {
    let folder = Folder::new();
    let mut sleeve = Sleeve::new();
    change(&mut sleeve.guides);
    sleeve.put(&folder);
    let place = format!("sleeve.toml:{}:", sleeve.line_of(at));
    refused(&folder, &[], &[&[place.as_str()], parts].concat());
}

/// As [`refused`], for a sculpt file with other bytes.
fn refused_sculpt(bytes: &[u8], parts: &[&str]) {
    let folder = Folder::new();
    Sleeve::new().put(&folder);
    folder.write("sleeve.ply", bytes);
    refused(
        &folder,
        &[],
        &[&["sleeve.toml:6: ", "sleeve.ply"], parts].concat(),
    );
}

#[test]
fn unknown_keys_have_file_line_and_the_nearest_known() {
    refused_change(
        "faces = 300",
        "face = 300",
        &[
            "sleeve.toml:12:1: [density]: unknown key 'face'",
            "Did you mean 'faces'?",
        ],
    );
    refused_change(
        "plane = \"z\"",
        "plane = \"w\"",
        &["sleeve.toml:9:1", "'plane' is \"w\"", "'find'"],
    );
    refused_change("job = 1\n", "job = 1\n[", &["sleeve.toml:2", "TOML"]);
}

#[test]
fn counts_that_cannot_be_have_line_guide_and_range() {
    for count in [0, 2] {
        let change = |guides: &mut Vec<Drawn>| guides[1].count = Some(count);
        let value = format!("'count' is {count}");
        let folder = Folder::new();
        let mut sleeve = Sleeve::new();
        change(&mut sleeve.guides);
        sleeve.put(&folder);
        refused(
            &folder,
            &[],
            &["sleeve.toml:", "guide 'elbow'", &value, "3"],
        );
    }
}

#[test]
fn an_odd_ring_over_the_plane_has_line_guide_and_the_even_counts() {
    refused_guides(
        |guides| guides[1].count = Some(11),
        "elbow",
        &["\"elbow\"", "11", "even", "10 or 12"],
    );
}

#[test]
fn a_guide_off_the_sculpt_has_line_guide_and_point() {
    refused_guides(
        |guides| guides[1].points[3] += DVec3::new(-20.0, 20.0, 0.0),
        "elbow",
        &["point 4", "\"elbow\"", "from the sculpt", "draw it"],
    );
}

#[test]
fn a_guide_of_no_length_has_its_line() {
    refused_guides(
        |guides| {
            let start = guides[1].points[0];
            guides[1].points = (0..5)
                .map(|i| start + 1e-3 * f64::from(i) * DVec3::Z)
                .collect();
        },
        "elbow",
        &["\"elbow\"", "too short"],
    );
}

#[test]
fn missing_files_are_named() {
    let folder = Folder::new();
    refused(
        &folder,
        &[],
        &["sleeve.toml", "can't be read", "Check the name"],
    );
    Sleeve::new().put(&folder);
    fs::remove_file(folder.join("sleeve.ply")).unwrap();
    refused(
        &folder,
        &[],
        &[
            "sleeve.toml:6: ",
            "sleeve.ply",
            "can't be read",
            "Check the name",
        ],
    );
    fs::create_dir(folder.join("sleeve.ply")).unwrap();
    refused(&folder, &[], &["sleeve.ply", "isn't a regular file"]);
}

#[test]
fn sculpts_that_are_cut_off_empty_or_something_else_are_refused() {
    let whole = sleeve_ply();
    refused_sculpt(&whole[..whole.len() / 2], &["room for", "export it again"]);
    refused_sculpt(&whole[..100], &["line 6", "PLY", "Export"]);
    refused_sculpt(b"not a sculpt at all", &["xport"]);
    refused_sculpt(
        &files::ply_bytes(&mesh::TriMesh::default()),
        &["no triangles", "Export"],
    );
    let point = mesh::TriMesh {
        positions: vec![mesh::Vec3::ONE; 3],
        triangles: vec![[0, 1, 2]; 4],
    };
    refused_sculpt(&files::ply_bytes(&point), &["area", "export"]);
}

#[test]
fn a_part_that_is_not_there_has_the_line_of_its_name() {
    refused_change(
        "file = \"sleeve.ply\"",
        "file = \"sleeve.ply\"\npart = \"cuff\"",
        &["sleeve.toml:7: ", "sleeve.ply", "'cuff'", "part"],
    );
}

#[test]
fn overrides_are_held_to_the_jobs_ranges() {
    let folder = Folder::new();
    Sleeve::new().put(&folder);
    refused(
        &folder,
        &["--faces", "3"],
        &["--faces", "from 50 to 200000"],
    );
    refused(&folder, &["--edge", "0"], &["--edge", "above 0"]);
    refused(
        &folder,
        &["--edge", "1e-6"],
        &["--edge", "quads of this sculpt", "longer edge"],
    );
    refused(&folder, &["--adapt", "2"], &["--adapt", "from 0 to 1"]);
    refused(&folder, &["--plane", "w"], &["--plane", "find"]);
    refused(&folder, &["--threads", "99999"], &["--threads", "1024"]);
    refused(&folder, &["--colour", "red"], &["--colour"]);
}

#[test]
fn a_folder_that_cannot_be_written_is_refused_before_the_work() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    folder.write("file", "in the way");
    for out in ["file", "file/out"] {
        let out = folder.join(out);
        let before = folder.names();
        let run = loopwright(&["run", word(&job), "--out", word(&out)]);
        assert_eq!(run.status, Some(2), "{run:?}");
        assert!(run.stderr.contains("can't write in the folder"), "{run:?}");
        assert!(run.stderr.contains("Check that it exists"), "{run:?}");
        assert_eq!(folder.names(), before);
    }
    assert_eq!(
        fs::read_to_string(folder.join("file")).unwrap(),
        "in the way"
    );
}

#[test]
fn results_never_replace_the_sculpt() {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    sleeve.put(&folder);
    let text = sleeve.text().replace("sleeve.ply", "surface.obj");
    let job = folder.write("sleeve.toml", text);
    let sculpt = folder.write("surface.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n");
    let before = fs::read(&sculpt).unwrap();
    let run = loopwright(&["run", word(&job), "--out", word(&folder.0)]);
    assert_eq!(run.status, Some(2), "{run:?}");
    assert!(
        run.stderr.contains("surface.obj") && run.stderr.contains("--out"),
        "{run:?}"
    );
    assert_eq!(fs::read(&sculpt).unwrap(), before);
}

/// A hold's file in the results' folder was overwritten by the new surface, and the hold lost.
#[test]
fn results_never_replace_held_quads() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let out = folder.join("out");
    let run = || loopwright(&["run", word(&job), "--out", word(&out), "--pictures", "0"]);
    assert_eq!(run().status, Some(0));
    let surface = out.join("surface.obj");
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
    fs::rename(folder.join("sleeve.cuff.obj"), &surface).unwrap();
    let text = fs::read_to_string(&job).unwrap();
    assert_eq!(text.matches("sleeve.cuff.obj").count(), 1, "{text}");
    fs::write(&job, text.replace("sleeve.cuff.obj", "out/surface.obj")).unwrap();

    let before = fs::read(&surface).unwrap();
    let run = run();
    assert_eq!(run.status, Some(2), "{run:?}");
    assert!(
        run.stderr.contains("surface.obj") && run.stderr.contains("--out"),
        "{run:?}"
    );
    assert!(fs::read(&surface).unwrap() == before);
}

#[test]
fn a_refusal_is_json_too() {
    let folder = Folder::new();
    let out = folder.join("out");
    let run = loopwright(&["run", "no such job.toml", "--out", word(&out), "--json"]);
    assert_eq!(run.status, Some(2));
    assert_eq!(run.json()["ready"], false);
    assert!(
        run.json()["refused"]
            .as_str()
            .unwrap()
            .contains("no such job.toml")
    );
    assert!(!Path::new(&out).exists());
}
