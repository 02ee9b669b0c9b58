//! Holds: taken from a surface by one command, left as they are by each run after.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::{Folder, Run, Sleeve, loopwright, word};

/// Each quad of an OBJ text as its corners' own words, from the least on.
fn quads(text: &str) -> BTreeSet<[String; 4]> {
    let vertices: Vec<&str> = text.lines().filter_map(|l| l.strip_prefix("v ")).collect();
    let quad = |line: &str| {
        let mut corners: Vec<String> = line
            .split(' ')
            .map(|w| w.split('/').next().unwrap())
            .map(|i| vertices[i.parse::<usize>().unwrap() - 1].to_owned())
            .collect();
        let least = (0..4).min_by_key(|&i| corners[i].clone()).unwrap();
        corners.rotate_left(least);
        <[String; 4]>::try_from(corners).unwrap()
    };
    text.lines()
        .filter_map(|l| l.strip_prefix("f "))
        .map(quad)
        .collect()
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap()
}

fn run(job: &Path, folder: &Folder, name: &str) -> Run {
    let out = folder.join(name);
    loopwright(&["run", word(job), "--out", word(&out), "--pictures", "0"])
}

fn hold(job: &Path, surface: &Path, words: &[&str]) -> Run {
    let mut all = vec!["hold", word(job), "--surface", word(surface)];
    all.extend(words);
    loopwright(&all)
}

#[test]
fn a_held_part_is_the_same_to_the_bit_after_a_count_changed_elsewhere() {
    let folder = Folder::new();
    let mut sleeve = Sleeve::new();
    let job = sleeve.put(&folder);
    assert_eq!(run(&job, &folder, "first").status, Some(0));
    let surface = folder.join("first").join("surface.obj");
    let words = ["--name", "upper arm", "--group", "elbow-shoulder"];
    let held = hold(&job, &surface, &words);
    assert_eq!(held.status, Some(0), "{held:?}");
    let line = 1 + read(&job).lines().position(|l| l == "[[hold]]").unwrap();
    assert!(
        held.stdout
            .contains(&format!("sleeve.toml:{line}: hold 'upper arm'")),
        "{held:?}"
    );
    let stored = quads(&read(&folder.join("sleeve.upper_arm.obj")));
    assert!(stored.len() > 20 && stored.is_subset(&quads(&read(&surface))));

    // Other counts, another budget, and the whole job written anew but for the hold.
    sleeve.guides[2].count = Some(16);
    sleeve.head = sleeve.head.replace("300", "420");
    let kept = read(&job);
    let table = &kept[kept.find("[[hold]]").unwrap()..];
    fs::write(&job, format!("{}{table}", sleeve.text())).unwrap();
    let second = run(&job, &folder, "second");
    assert_eq!(second.status, Some(0), "{second:?}");
    let after = read(&folder.join("second").join("surface.obj"));
    let all = quads(&after);
    assert!(stored.is_subset(&all), "held quads are there word for word");
    assert_ne!(all, quads(&read(&surface)));
    let findings: Value =
        serde_json::from_str(&read(&folder.join("second").join("findings.json"))).unwrap();
    let kept = findings["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["code"] == "hold-kept");
    assert_eq!(kept.unwrap()["level"], "pass");
    let again = run(&job, &folder, "again");
    assert_eq!(again.status, Some(0));
    assert_eq!(
        read(&folder.join("again").join("surface.obj")),
        after,
        "the same bytes"
    );

    // `measure` holds any surface against the job's holds too.
    let first = word(&surface);
    let measured = loopwright(&[
        "measure",
        first,
        "--job",
        word(&job),
        "--json",
        "--pictures",
        "0",
    ]);
    assert!(measured.stdout.contains("hold-kept"), "{measured:?}");
    // One coordinate of one held corner a millionth off.
    let corner = &stored.first().unwrap()[0];
    let (x, rest) = corner.split_once(' ').unwrap();
    let x = x.parse::<f64>().unwrap() + 1e-6;
    let text = read(&surface).replacen(&format!("v {corner}\n"), &format!("v {x} {rest}\n"), 1);
    let moved = folder.write("moved.obj", text);
    let measured = loopwright(&[
        "measure",
        word(&moved),
        "--job",
        word(&job),
        "--json",
        "--pictures",
        "0",
    ]);
    assert_eq!(measured.status, Some(1));
    let kept = measured.json();
    let kept = kept["findings"].as_array().unwrap();
    let kept = kept.iter().find(|f| f["code"] == "hold-kept").unwrap();
    assert_eq!(kept["level"], "fail", "{kept}");

    // Held anew under the same name: the table stays one.
    let words = ["--name", "upper arm", "--at", "0,8,4", "--reach", "5"];
    let held = hold(&job, &folder.join("second").join("surface.obj"), &words);
    assert_eq!(held.status, Some(0), "{held:?}");
    assert_eq!(read(&job).matches("[[hold]]").count(), 1);
    assert!(quads(&read(&folder.join("sleeve.upper_arm.obj"))).len() < stored.len());
}

#[test]
fn what_cant_be_held_is_refused_and_changes_nothing() {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    let job = sleeve.put(&folder);
    assert_eq!(run(&job, &folder, "first").status, Some(0));
    let surface = folder.join("first").join("surface.obj");
    let before = read(&job);
    let names = folder.names();
    for (words, part) in [
        (
            &["--name", "all", "--at", "0,8,4", "--reach", "500"][..],
            "whole surface",
        ),
        (
            &["--name", "none", "--at", "0,80,4", "--reach", "1"],
            "nearest",
        ),
        (
            &["--name", "none", "--group", "collar"],
            "no group 'collar'",
        ),
        (&["--name", "none"], "--at"),
        (
            &["--name", "none", "--at", "0,8,4", "--reach", "0"],
            "above 0",
        ),
    ] {
        let refused = hold(&job, &surface, words);
        assert_eq!(refused.status, Some(2), "{refused:?}");
        assert!(refused.stderr.contains(part), "{refused:?}");
        assert_eq!(read(&job), before);
        assert_eq!(folder.names(), names);
    }
    folder.write("sleeve.mine.obj", "not a hold's");
    let refused = hold(
        &job,
        &surface,
        &["--name", "mine", "--at", "0,8,4", "--reach", "4"],
    );
    assert_eq!(refused.status, Some(2));
    assert!(refused.stderr.contains("sleeve.mine.obj"), "{refused:?}");
    assert_eq!(read(&folder.join("sleeve.mine.obj")), "not a hold's");
}

#[test]
fn held_files_that_cant_be_used_are_refused_with_their_line() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    assert_eq!(run(&job, &folder, "first").status, Some(0));
    let surface = folder.join("first").join("surface.obj");
    let words = ["--name", "upper arm", "--group", "elbow-shoulder"];
    assert_eq!(hold(&job, &surface, &words).status, Some(0));
    let text = read(&job);
    let line = 1 + text.lines().position(|l| l == "[[hold]]").unwrap();
    let path = folder.join("sleeve.upper_arm.obj");
    let good = read(&path);
    let first_face = good
        .lines()
        .find(|l| l.starts_with("f "))
        .unwrap()
        .to_owned();
    let no_rim: String = good
        .lines()
        .filter(|l| !l.starts_with("l "))
        .map(|l| format!("{l}\n"))
        .collect();
    let mut doubled = good.clone();
    doubled.push_str(&format!(
        "{}\n",
        first_face.split(' ').take(4).collect::<Vec<_>>().join(" ")
    ));
    let turned: Vec<&str> = first_face.split(' ').collect();
    let turned = format!("f {} {} {} {}", turned[4], turned[3], turned[2], turned[1]);
    for (damaged, part) in [
        (None, "can't be read"),
        (Some(String::new()), "no quads"),
        (Some(no_rim), "no lines (l)"),
        (Some(doubled), "3 corners"),
        (Some(good.replacen("v ", "v x", 1)), "'x"),
        (Some(good.replacen(&first_face, &turned, 1)), "wind against"),
        (
            Some(good.replacen(&first_face, "f 1 1 2 3", 1)),
            "one corner twice",
        ),
    ] {
        match damaged {
            Some(damaged) => fs::write(&path, damaged).unwrap(),
            None => fs::remove_file(&path).unwrap(),
        }
        let refused = run(&job, &folder, "second");
        assert_eq!(refused.status, Some(2), "{part}: {refused:?}");
        assert!(
            refused.stderr.contains(&format!("sleeve.toml:{line}: ")),
            "{refused:?}"
        );
        assert!(refused.stderr.contains("hold 'upper arm'"), "{refused:?}");
        assert!(refused.stderr.contains(part), "{part}: {refused:?}");
        assert!(!folder.join("second").exists());
    }
    fs::write(&path, good).unwrap();
    // A guide whose count held quads can't have: both lines, and the count that can be.
    let contrary = text.replacen("count = 12", "count = 16", 1);
    fs::write(&job, contrary).unwrap();
    let refused = run(&job, &folder, "second");
    assert_eq!(refused.status, Some(2), "{refused:?}");
    assert!(refused.stderr.contains("count = 12"), "{refused:?}");
    assert!(refused.stderr.contains("guide 'shoulder'"), "{refused:?}");
    assert!(!folder.join("second").exists());
}
