//! Loops, areas, pins and keep-outs: asked for in a job, found again on the surface.

use serde_json::Value;

use crate::support::{Folder, Run, Sleeve, loopwright, word};

/// On the straight part of the sleeve, off the mirror plane.
const PIN: &str = "\n[[pin]]\nname = \"darn\"\nat = [2.4, 8, 3.2]\nvalence = 5\n";

/// Runs the sleeve's job with one text replaced by another and tables at the end; the folder
/// has the job and the results.
fn sleeve_with(old: &str, new: &str, tables: &str) -> (Folder, Run) {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    sleeve.put(&folder);
    let text = sleeve.text();
    assert_eq!(text.matches(old).count(), 1, "'{old}' isn't there once");
    let job = folder.write("sleeve.toml", text.replace(old, new) + tables);
    let out = folder.join("out");
    let words = [
        "run",
        word(&job),
        "--out",
        word(&out),
        "--pictures",
        "0",
        "--json",
    ];
    let run = loopwright(&words);
    (folder, run)
}

fn levels(json: &Value, code: &str) -> Vec<String> {
    let all = json["findings"].as_array().unwrap().iter();
    let of = all.filter(|f| f["code"] == code);
    of.map(|f| f["level"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn loops_lie_beside_their_ring_and_only_when_asked() {
    let with = "name = \"elbow\"\nkind = \"ring\"\nloops = 3";
    let (_folder, run) = sleeve_with("name = \"elbow\"\nkind = \"ring\"", with, "");
    assert_eq!(levels(&run.json(), "ring-loops"), ["pass"], "{run:?}");
    // The sleeve without them, held against the same job.
    let (plain, _) = sleeve_with("faces = 300", "faces = 300", "");
    let text = Sleeve::new().text();
    let job = plain.write(
        "asked.toml",
        text.replace("name = \"elbow\"\nkind = \"ring\"", with),
    );
    let surface = plain.join("out/surface.obj");
    let words = [
        "measure",
        word(&surface),
        "--job",
        word(&job),
        "--json",
        "--pictures",
        "0",
    ];
    let measured = loopwright(&words);
    assert_eq!(measured.status, Some(1), "{measured:?}");
    assert_eq!(levels(&measured.json(), "ring-loops"), ["fail"]);
}

#[test]
fn an_area_has_the_density_that_was_asked() {
    // Its rings' counts promised, a sleeve has quads to give along it only.
    let area = "\n[[area]]\nname = \"cuff\"\nat = [30, 34, 0]\nreach = 9\ndensity = 1.4\n";
    let free = Sleeve::new().text();
    let (_folder, run) = sleeve_with("faces = 300", "faces = 600", area);
    assert!(free.contains("faces = 300"));
    let json = run.json();
    let found = json["measures"]["areas"][0]["found"].as_f64().unwrap();
    let (_folder, run) = sleeve_with("faces = 300", "faces = 600", &area.replace("1.4", "0.7"));
    let json = run.json();
    let sparse = json["measures"]["areas"][0]["found"].as_f64().unwrap();
    assert!(found > 1.1 && sparse < 0.95, "{found} {sparse}");
}

#[test]
fn a_pinned_pole_is_there_on_both_sides() {
    let (_folder, run) = sleeve_with("faces = 300", "faces = 600", PIN);
    let json = run.json();
    assert_eq!(levels(&json, "pin"), ["pass"], "{json}");
}

#[test]
fn poles_stay_out_of_keep_outs() {
    let tables = format!(
        "{PIN}\n[[keep_out]]\nname = \"bend\"\nguide = \"elbow\"\nreach = 2\n\
        \n[[keep_out]]\nname = \"cuff\"\nat = [30, 34, 0]\nreach = 6\n"
    );
    let (_folder, run) = sleeve_with("faces = 300", "faces = 600", &tables);
    assert_eq!(levels(&run.json(), "keep-out"), ["pass", "pass"], "{run:?}");
}

#[test]
fn wrong_wishes_are_refused_with_their_line_and_the_way_out() {
    let last = Sleeve::new().text().lines().count() + 2;
    let cases = [
        (
            PIN.replace("valence = 5", "valence = 6"),
            3,
            "it must be 3 or 5",
        ),
        (
            PIN.replace("3.2]", "0.1]"),
            0,
            "pin 'darn' lies on the mirror plane",
        ),
        (PIN.replace("[2.4", "[40.5"), 0, "move it onto the sculpt"),
        (
            "\n[[area]]\nname = \"cuff\"\nat = [30, 60, 0]\nreach = 9\nedge = 1\n".to_owned(),
            0,
            "move it onto the sculpt",
        ),
        (
            "\n[[keep_out]]\nname = \"bend\"\nguide = \"elbw\"\nreach = 2\n".to_owned(),
            2,
            "did you mean 'elbow'?",
        ),
        (
            "\n[[area]]\nname = \"cuff\"\nat = [30, 34, 0]\nreach = 9\n".to_owned(),
            1,
            "'density' or 'edge'",
        ),
    ];
    for (table, line, says) in cases {
        let (folder, run) = sleeve_with("faces = 300", "faces = 300", &table);
        assert_eq!(run.status, Some(2), "{run:?}");
        let place = format!("sleeve.toml:{}:", last + line);
        assert!(
            run.stderr.contains(&place) && run.stderr.contains(says),
            "{place} {says}: {run:?}"
        );
        assert!(!folder.join("out").exists());
    }
    let (_folder, run) = sleeve_with(
        "name = \"wrist\"\nkind = \"opening\"",
        "name = \"wrist\"\nkind = \"opening\"\nloops = 2",
        "",
    );
    assert!(
        run.stderr
            .contains("'loops' asks for closed loops beside a closed ring"),
        "{run:?}"
    );
}
