//! A figure: parts in folders of their own, one an image of another, one over another, and a report
//! of the whole; what didn't change is kept.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use mesh::{DVec3, TriMesh};
use serde_json::Value;

use crate::support::{Folder, RADIUS, Run, Sleeve, loopwright, word};

/// The sleeve's own sculpt, thinner: an arm, of which `share` of the radius is left.
pub fn arm(share: f64) -> TriMesh {
    let mut mesh = demo::bent_tube(20_000);
    let quarter = DVec3::new(14.0, 16.0, 0.0);
    for p in &mut mesh.positions {
        let at = p.as_dvec3();
        // Towards the middle line: upright, then around `quarter`'s circle, then along x.
        let middle = if at.y <= 16.0 {
            DVec3::new(0.0, at.y, 0.0)
        } else if at.x >= 14.0 {
            DVec3::new(at.x, 30.0, 0.0)
        } else {
            let off = DVec3::new(at.x - quarter.x, at.y - quarter.y, 0.0);
            quarter + 14.0 * off.normalize()
        };
        *p = (middle + share * (at - middle)).as_vec3();
    }
    mesh
}

pub const SET: &str = "figure = 1\nname = \"two sleeves\"\n[symmetry]\nplane = \"z\"\n[budget]\nfaces = 900\n\
    [[part]]\nname = \"arm\"\njob = \"arm.toml\"\n\
    [[part]]\nname = \"sleeve\"\njob = \"sleeve.toml\"\nshare = 2\nover = [\"arm\"]\nclearance = 0.5\n";

/// Two sleeves of which one lies over an arm that is nearly as wide.
pub fn put(folder: &Folder) -> PathBuf {
    Sleeve::new().put(folder);
    let mut arm_job = Sleeve::new();
    arm_job.head = arm_job.head.replace("sleeve.ply", "arm.ply");
    arm_job.guides.clear();
    folder.write("arm.ply", files::ply_bytes(&arm(0.93)));
    folder.write("arm.toml", arm_job.text());
    folder.write("set.toml", SET)
}

fn figure(set: &Path, out: &Path, more: &[&str]) -> Run {
    let mut words = vec!["figure", word(set), "--out", word(out), "--pictures", "64"];
    words.extend(more);
    loopwright(&words)
}

fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

pub fn made_at(folder: &Path) -> SystemTime {
    let about = fs::metadata(folder.join("made-of.json")).unwrap();
    about.modified().unwrap()
}

#[test]
fn parts_are_made_in_order_each_clear_of_those_beneath_and_kept_until_something_changes() {
    let folder = Folder::new();
    let (set, out) = (put(&folder), folder.join("out"));
    let first = figure(&set, &out, &[]);
    assert_eq!(first.status, Some(0), "{first:?}");
    let findings = json(&out.join("findings.json"));
    let all = findings["findings"].as_array().unwrap();
    let of = |code: &str| all.iter().filter(|f| f["code"] == code).count();
    assert_eq!([of("part-ready"), of("parts-clear")], [2, 1]);
    assert!(all.iter().all(|f| f["level"] == "pass"), "{all:?}");
    // An arm of 0.93 × 4 leaves 0.28: the sleeve had to move.
    let sleeve = json(&out.join("sleeve/findings.json"));
    let moved = sleeve["findings"].as_array().unwrap().iter();
    let moved = moved.filter(|f| f["code"] == "layer-moved").count();
    assert_eq!(moved, 1);
    // Along the upright piece every vertex is half a cm off a prism of at least 12 sides about that
    // radius, whose sides are cos 15° of it away: more than the sleeve's own 4.
    let surface = fs::read_to_string(out.join("sleeve/surface.obj")).unwrap();
    let rows = surface.lines().filter_map(|line| line.strip_prefix("v "));
    let at = |row: &str| -> Vec<f64> { row.split(' ').map(|n| n.parse().unwrap()).collect() };
    let upright = rows.map(at).filter(|p| (1.0..14.0).contains(&p[1]));
    let radii: Vec<f64> = upright.map(|p| p[0].hypot(p[2])).collect();
    let least = radii.iter().copied().fold(f64::MAX, f64::min);
    let prism = 0.93 * RADIUS * (std::f64::consts::PI / 12.0).cos();
    assert!(radii.len() >= 12 && least > prism + 0.49, "{least}");
    let report = fs::read_to_string(out.join("report.html")).unwrap();
    for part in [
        "Its parts",
        "sleeve: layers before and after clearing",
        "sleeve/report.html",
    ] {
        assert!(report.contains(part), "{part}");
    }

    let glb = fs::read(out.join("figure.glb")).unwrap();
    let length = u32::from_le_bytes(glb[12..16].try_into().unwrap()) as usize;
    let root: serde_json::Value = serde_json::from_slice(&glb[20..20 + length]).unwrap();
    let nodes = root["nodes"].as_array().unwrap().iter();
    let names: Vec<&str> = nodes.filter_map(|node| node["name"].as_str()).collect();
    assert_eq!(names[1..], ["arm", "sleeve"], "{names:?}");
    let results = ["figure.obj", "figure.glb", "findings.json", "report.html"];
    let read = || results.map(|name| fs::read(out.join(name)).unwrap());
    let (before, arm_at, sleeve_at) = (
        read(),
        made_at(&out.join("arm")),
        made_at(&out.join("sleeve")),
    );
    let again = figure(&set, &out, &["--threads", "1"]);
    assert_eq!(again.status, Some(0));
    assert_eq!(again.stdout.matches("as it was").count(), 2, "{again:?}");
    assert!(before == read(), "the same bytes");
    assert_eq!(made_at(&out.join("arm")), arm_at);

    // A change of what only the sleeve asks for leaves the arm alone.
    fs::write(&set, SET.replace("clearance = 0.5", "clearance = 0.6")).unwrap();
    let third = figure(&set, &out, &[]);
    assert_eq!(third.stdout.matches("as it was").count(), 1, "{third:?}");
    assert_eq!(made_at(&out.join("arm")), arm_at);
    assert_ne!(made_at(&out.join("sleeve")), sleeve_at);
    let anew = figure(&set, &out, &["--anew"]);
    assert!(!anew.stdout.contains("as it was"), "{anew:?}");
}

#[test]
fn an_image_is_exact_to_the_bit_and_faces_out() {
    let folder = Folder::new();
    Sleeve::new().put(&folder);
    let set = "figure = 1\n[symmetry]\nplane = \"x\"\n[[part]]\nname = \"left\"\njob = \"sleeve.toml\"\n\
        [[part]]\nname = \"right\"\nimage_of = \"left\"\n";
    let set = folder.write("set.toml", set);
    let out = folder.join("out");
    let done = figure(&set, &out, &[]);
    assert!(matches!(done.status, Some(0 | 1)), "{done:?}");
    let lines = |part: &str, start: &str| -> Vec<Vec<f64>> {
        let text = fs::read_to_string(out.join(part).join("surface.obj")).unwrap();
        let rows = text.lines().filter_map(|line| line.strip_prefix(start));
        // Of a face's corner, its vertex.
        let number = |word: &str| word.split('/').next().unwrap().parse().unwrap();
        rows.map(|row| row.split(' ').map(number).collect())
            .collect()
    };
    let (left, right) = (lines("left", "v "), lines("right", "v "));
    assert_eq!(left.len(), right.len());
    for (a, b) in left.iter().zip(&right) {
        assert!(a[0] == -b[0] && a[1] == b[1] && a[2] == b[2], "{a:?} {b:?}");
    }
    let (left, right) = (lines("left", "f "), lines("right", "f "));
    for (a, b) in left.iter().zip(&right) {
        assert_eq!([a[0], a[3], a[2], a[1]], [b[0], b[1], b[2], b[3]]);
    }
}

#[test]
fn what_cannot_be_run_is_refused_with_its_place_and_writes_nothing() {
    let folder = Folder::new();
    let set = put(&folder);
    let out = folder.join("out");
    for (from, to, told) in [
        ("arm.toml", "arms.toml", "arms.toml"),
        (
            "over = [\"arm\"]",
            "over = [\"arms\"]",
            "set.toml:14:1: part 'sleeve': there is no part 'arms'",
        ),
        (
            "faces = 900",
            "faces = 120",
            "the budget leaves it 40 quads",
        ),
    ] {
        fs::write(&set, SET.replace(from, to)).unwrap();
        let done = figure(&set, &out, &[]);
        assert_eq!(done.status, Some(2), "{done:?}");
        assert!(done.stderr.contains(told), "{}", done.stderr);
        assert!(!out.exists());
    }
    fs::write(&set, SET).unwrap();
    let job = fs::read_to_string(folder.join("arm.toml")).unwrap();
    folder.write("arm.toml", job.replace("\"cm\"", "\"mm\""));
    let done = figure(&set, &out, &[]);
    assert_eq!(done.status, Some(2));
    assert!(
        done.stderr.contains("A figure has one unit"),
        "{}",
        done.stderr
    );
    assert!(!out.exists());
}

/// README's first command, on smaller sculpts. Whether each part is ready is told by the parts' own
/// checks; what lies over what must be clear.
#[test]
fn nothing_pokes_through_the_demos_figure() {
    let folder = Folder::new();
    let out = word(&folder.0);
    let done = loopwright(&[
        "demo",
        "--triangles",
        "60000",
        "--pictures",
        "0",
        "--out",
        out,
    ]);
    assert!(matches!(done.status, Some(0 | 1)), "{done:?}");
    let findings = json(&folder.join("findings.json"));
    let all = findings["findings"].as_array().unwrap();
    let of = |code: &str| all.iter().filter(|f| f["code"] == code).collect::<Vec<_>>();
    assert_eq!(of("part-ready").len(), 8);
    let clear = of("parts-clear");
    // The coat over head, hands, gloves and boots, the glove over the hand.
    assert_eq!(clear.len(), 8);
    for finding in clear.iter().chain(&of("parts-apart")) {
        assert_eq!(finding["level"], "pass", "{finding}");
    }
    let coat = json(&folder.join("oilskin-coat/findings.json"));
    let coat = coat["findings"].as_array().unwrap();
    let jersey = coat.iter().find(|f| {
        let told = f["sentence"].as_str().unwrap();
        f["code"] == "layer-crossings" && told.contains("'jersey'")
    });
    assert_eq!(jersey.unwrap()["level"], "pass");
}
