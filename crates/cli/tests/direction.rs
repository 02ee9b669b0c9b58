//! Crates use each other in one direction only, as ARCHITECTURE.md has it.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// What each crate may use of the workspace, tests and build scripts included.
const MAY_USE: [(&str, &[&str]); 14] = [
    ("base", &[]),
    ("mesh", &["base"]),
    ("numeric", &["base"]),
    ("files", &["base", "mesh"]),
    ("engine", &["base", "mesh", "numeric"]),
    ("finish", &["base", "mesh", "numeric", "engine"]),
    // Demo for tests alone.
    (
        "session",
        &["base", "mesh", "files", "engine", "finish", "demo"],
    ),
    ("report", &["base", "mesh"]),
    ("demo", &["base", "mesh"]),
    (
        "cli",
        &[
            "base", "mesh", "files", "engine", "finish", "session", "report", "demo",
        ],
    ),
    // Plain slices alone.
    ("render", &[]),
    (
        "desk",
        &[
            "base", "mesh", "files", "engine", "finish", "session", "render", "demo",
        ],
    ),
    (
        "bench",
        &[
            "base", "mesh", "files", "engine", "finish", "session", "render", "demo",
        ],
    ),
    (
        "corpus",
        &[
            "base", "mesh", "files", "engine", "session", "report", "demo",
        ],
    ),
];

/// Libraries that only one crate may name.
const OWNERS: [(&str, &str); 14] = [
    ("robust", "mesh"),
    ("faer", "numeric"),
    ("microlp", "numeric"),
    ("toml_edit", "files"),
    ("gltf", "files"),
    ("png", "report"),
    ("base64", "report"),
    ("wgpu", "render"),
    ("egui", "desk"),
    ("eframe", "desk"),
    ("winit", "desk"),
    ("clap", "cli"),
    ("ctrlc", "cli"),
    ("parry3d-f64", "bench"),
];

/// Folder name and dependencies of each crate of the workspace.
fn crates() -> BTreeMap<String, Vec<String>> {
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    let folder = |package: &Value| {
        let manifest = package["manifest_path"].as_str().unwrap();
        let folder = std::path::Path::new(manifest).parent().unwrap();
        folder.file_name().unwrap().to_str().unwrap().to_owned()
    };
    let folder_of: BTreeMap<&str, String> = packages
        .iter()
        .map(|package| (package["name"].as_str().unwrap(), folder(package)))
        .collect();
    let uses = |package: &Value| {
        let dependencies = package["dependencies"].as_array().unwrap();
        let name = |d: &Value| {
            let name = d["name"].as_str().unwrap();
            folder_of
                .get(name)
                .cloned()
                .unwrap_or_else(|| name.to_owned())
        };
        dependencies.iter().map(name).collect()
    };
    packages
        .iter()
        .map(|package| (folder(package), uses(package)))
        .collect()
}

#[test]
fn crates_use_each_other_in_one_direction() {
    let allowed: BTreeMap<&str, &[&str]> = MAY_USE.into_iter().collect();
    let crates = crates();
    assert!(crates.len() >= MAY_USE.len());
    let ours: BTreeSet<&str> = crates.keys().map(String::as_str).collect();
    for (name, uses) in &crates {
        let Some(may) = allowed.get(name.as_str()) else {
            panic!("crate '{name}' is new: say here and in ARCHITECTURE.md what it may use");
        };
        for used in uses.iter().filter(|used| ours.contains(used.as_str())) {
            assert!(
                may.contains(&used.as_str()),
                "'{name}' must not use '{used}'"
            );
        }
    }
}

#[test]
fn each_library_has_one_owner() {
    let owners: BTreeMap<&str, &str> = OWNERS.into_iter().collect();
    for (name, uses) in crates() {
        for used in uses {
            if let Some(owner) = owners.get(used.as_str()) {
                assert_eq!(*owner, name, "only '{owner}' may use '{used}'");
            }
        }
    }
}

/// Every stage of the engine, and those before it that it may know. `model` and the stages'
/// common types aside, no stage names a later one.
#[test]
fn no_stage_knows_a_later_one() {
    const STAGES: [&str; 15] = [
        "intake", "symmetry", "hold", "guides", "work", "intent", "field", "layout", "quantise",
        "fill", "conform", "assemble", "edit", "check", "suggest",
    ];
    let engine = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../engine/src");
    let mut looked_at = 0;
    for (number, stage) in STAGES.iter().enumerate() {
        let mut folders = vec![engine.join(stage)];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                    continue;
                }
                let text = std::fs::read_to_string(&path).unwrap();
                looked_at += 1;
                for later in &STAGES[number + 1..] {
                    let known = text.contains(&format!("crate::{later}::"));
                    assert!(!known, "{} names the later stage '{later}'", path.display());
                }
            }
        }
    }
    assert!(looked_at > STAGES.len());
}
