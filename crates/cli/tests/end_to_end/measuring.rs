//! `loopwright measure`.

use std::fs;

use crate::support::{Folder, Sleeve, coat, loopwright, names_in, word};

#[test]
fn a_surface_measures_the_same_when_read_back() {
    let (folder, _) = coat();
    let (surface, job) = (folder.join("surface.obj"), folder.join("coat.toml"));
    let run = loopwright(&["measure", word(&surface), "--job", word(&job), "--json"]);
    let text = fs::read_to_string(folder.join("findings.json")).unwrap();
    let findings: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(run.json()["measures"], findings["measures"]);
    assert_eq!(run.json()["ready"], run.status == Some(0));
}

#[test]
fn a_sculpt_alone_is_enough_and_a_turned_quad_is_seen() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let out = folder.join("out");
    let words = ["run", word(&job), "--out", word(&out), "--pictures", "0"];
    assert_eq!(loopwright(&words).status, Some(0));
    let (surface, sculpt) = (out.join("surface.obj"), folder.join("sleeve.ply"));
    let words = ["measure", word(&surface), "--sculpt", word(&sculpt)];
    let run = loopwright(&words);
    assert_eq!(run.status, Some(0), "{run:?}");
    assert!(run.stdout.contains("Ready: surface: "), "{run:?}");

    let text = fs::read_to_string(&surface).unwrap();
    let (start, end) = text.split_at(text.find("\nf ").unwrap() + 1);
    let (quad, rest) = end.split_once('\n').unwrap();
    let corners: Vec<&str> = quad.split(' ').skip(1).collect();
    let turned = format!(
        "f {} {} {} {}",
        corners[3], corners[2], corners[1], corners[0]
    );
    let turned = folder.write("turned.obj", format!("{start}{turned}\n{rest}"));
    let report = folder.join("report");
    let words = [
        "measure",
        word(&turned),
        "--sculpt",
        word(&sculpt),
        "--json",
    ];
    let run = loopwright(&[&words[..], &["--pictures", "64", "--out", word(&report)]].concat());
    assert_eq!(run.status, Some(1), "{run:?}");
    let json = run.json();
    let failing = json["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| f["level"] == "fail");
    let codes: Vec<&str> = failing.map(|f| f["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"consistent-winding"), "{codes:?}");
    assert_eq!(names_in(&report), ["findings.json", "report.html"]);
}

#[test]
fn what_cannot_be_measured_is_refused() {
    let folder = Folder::new();
    let sculpt = folder.write("sleeve.ply", crate::support::sleeve_ply());
    let triangle = folder.write("tri.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n");
    let run = loopwright(&["measure", word(&triangle), "--sculpt", word(&sculpt)]);
    assert_eq!(run.status, Some(2));
    assert!(
        run.stderr.contains("tri.obj, line 4: a face has 3 corners"),
        "{run:?}"
    );
    let run = loopwright(&["measure", word(&triangle)]);
    assert_eq!(run.status, Some(2));
    assert!(run.stderr.contains("--sculpt"), "{run:?}");
}
