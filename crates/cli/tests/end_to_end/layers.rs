//! Layers: what is worn beneath pokes through the sleeve, and the surface makes room.

use std::f64::consts::{FRAC_PI_2, TAU};
use std::fs;
use std::path::Path;

use mesh::{DVec3, TriMesh, gap, pass_through};
use serde_json::Value;

use crate::support::{Folder, RADIUS, Run, Sleeve, loopwright, names_in, word};
use crate::surface::Surface;

/// Middle line of the sleeve at a length from its shoulder, and the direction there: 16 up,
/// a quarter of a circle of radius 14, 16 along x.
fn middle(s: f64) -> (DVec3, DVec3) {
    let quarter = 14.0 * FRAC_PI_2;
    if s < 16.0 {
        (DVec3::new(0.0, s, 0.0), DVec3::Y)
    } else if s < 16.0 + quarter {
        let turn = (s - 16.0) / 14.0;
        let p = DVec3::new(14.0 * (1.0 - turn.cos()), 16.0 + 14.0 * turn.sin(), 0.0);
        (p, DVec3::new(turn.sin(), turn.cos(), 0.0))
    } else {
        (DVec3::new(14.0 + s - 16.0 - quarter, 30.0, 0.0), DVec3::X)
    }
}

/// An arm that goes on beyond the sleeve at both ends, with a swelling on one side that is
/// more than the sleeve has room for.
fn arm() -> TriMesh {
    let (along, around) = (240, 96);
    let mut mesh = TriMesh::default();
    for i in 0..=along {
        let s = -3.0 + 60.0 * f64::from(i) / f64::from(along);
        let (at, along) = middle(s);
        let out = along.cross(DVec3::Z);
        for j in 0..around {
            let turn = TAU * f64::from(j) / f64::from(around);
            let away = (turn - 1.2) * 3.0;
            let swelling = 1.0 * (-((s - 26.0) / 4.0).powi(2) - away * away).exp();
            let radius = 0.85 * RADIUS + swelling;
            let p = at + radius * (turn.cos() * out + turn.sin() * DVec3::Z);
            mesh.positions.push(p.as_vec3());
        }
    }
    let at = |i: u32, j: u32| i * around + j % around;
    for i in 0..along as u32 {
        for j in 0..around {
            let [a, b, c, d] = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    // Facing out.
    let outward = mesh.area_normal(0).dot(mesh.corners(0)[0] - middle(-3.0).0);
    if outward < 0.0 {
        mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    }
    mesh
}

const CLEARANCE: f64 = 0.3;

fn job(folder: &Folder, more: &str) -> std::path::PathBuf {
    let mut sleeve = Sleeve::new();
    sleeve.head = sleeve.head.replace("plane = \"z\"", "plane = \"z\"\n");
    let job = sleeve.put(folder);
    folder.write("arm.ply", files::ply_bytes(&arm()));
    let layer =
        format!("\n[[layer]]\nname = \"arm\"\nfile = \"arm.ply\"\nclearance = {CLEARANCE}\n{more}");
    fs::write(&job, sleeve.text() + &layer).unwrap();
    job
}

fn run(job: &Path, out: &Path) -> Run {
    loopwright(&["run", word(job), "--out", word(out), "--pictures", "0"])
}

fn finding<'a>(findings: &'a Value, code: &str) -> &'a Value {
    let all = findings["findings"].as_array().unwrap();
    all.iter().find(|f| f["code"] == code).unwrap()
}

#[test]
fn a_swelling_under_the_sleeve_is_cleared_and_hidden_faces_are_left_out() {
    let folder = Folder::new();
    let job = job(&folder, "hidden = \"drop\"\nmargin = 2.0\n");
    let out = folder.join("out");
    let before = fs::read(folder.join("arm.ply")).unwrap();
    let done = run(&job, &out);
    assert_eq!(done.status, Some(0), "{done:?}");
    assert!(names_in(&out).contains(&"layer_arm.ply".to_owned()));
    assert_eq!(fs::read(folder.join("arm.ply")).unwrap(), before);
    let findings: Value =
        serde_json::from_slice(&fs::read(out.join("findings.json")).unwrap()).unwrap();
    assert_eq!(finding(&findings, "layer-crossings")["level"], "pass");
    assert_eq!(finding(&findings, "layer-clearance")["level"], "pass");
    assert!(finding(&findings, "layer-moved")["value"].as_f64().unwrap() > 0.0);
    let table = &findings["tables"].to_string();
    assert!(table.contains("Layers: before"), "{table}");

    // Every pair of triangles, whichever way the quads are cut; a layer written again is a part.
    let arm = arm();
    let surface = Surface::parse(&fs::read_to_string(out.join("surface.obj")).unwrap());
    let mut least = f64::INFINITY;
    for face in &surface.faces {
        let corners: Vec<DVec3> = face.iter().map(|&v| surface.positions[v]).collect();
        let low = corners.iter().copied().reduce(DVec3::min).unwrap() - 1.0;
        let high = corners.iter().copied().reduce(DVec3::max).unwrap() + 1.0;
        let cuts = [[0, 1, 2], [0, 2, 3], [0, 1, 3], [1, 2, 3]];
        for t in 0..arm.triangles.len() {
            let other = arm.corners(t);
            if other
                .iter()
                .any(|p| p.cmpge(low).all() && p.cmple(high).all())
            {
                for cut in cuts {
                    let one = cut.map(|i| corners[i]);
                    assert!(!pass_through(one, other));
                    least = least.min(gap(one, other).distance);
                }
            }
        }
    }
    assert!(
        (0.99 * CLEARANCE..1.5 * CLEARANCE).contains(&least),
        "{least}"
    );
    let left = files::read_sculpt(&out.join("layer_arm.ply")).unwrap();
    let (left, all) = (left.triangles.len(), arm.triangles.len());
    assert!(left < all * 4 / 5 && left > all / 20, "{left} of {all}");
    // Both sides: images to the bit, though the swelling is on one.
    let key = |p: &DVec3| p.to_array().map(|x| (x + 0.0).to_bits());
    let all: std::collections::BTreeSet<_> = surface.positions.iter().map(key).collect();
    let mirrored = |p: &DVec3| key(&(*p * DVec3::new(1.0, 1.0, -1.0)));
    assert!(surface.positions.iter().all(|p| all.contains(&mirrored(p))));
}

/// The arm leaves less room than the cuff's inner wall needs: the cuff gives way, and is as thick as
/// asked in the file that was written.
#[test]
fn a_cuff_gives_way_to_the_arm_with_its_walls_parallel() {
    let folder = Folder::new();
    let cuff = "\n[[trim]]\nname = \"cuff\"\nkind = \"cuff\"\nguide = \"wrist\"\nheight = 3\nthickness = 0.5\nfollow = false\n";
    let done = run(&job(&folder, cuff), &folder.join("out"));
    assert_eq!(done.status, Some(0), "{done:?}");
    let bytes = fs::read(folder.join("out").join("findings.json")).unwrap();
    let findings: Value = serde_json::from_slice(&bytes).unwrap();
    for code in [
        "trim-thickness",
        "trim-cuts",
        "layer-clearance",
        "layer-shape",
    ] {
        assert_eq!(finding(&findings, code)["level"], "pass", "{code}");
    }
    let whole = files::read_grouped_quads(&folder.join("out").join("surface.obj")).unwrap();
    let arm = arm();
    let trim = whole.groups.iter().find(|g| g.name == "cuff").unwrap();
    let mut least = f64::INFINITY;
    for &q in &trim.quads {
        let corners = whole.quads[q as usize].map(|v| whole.positions[v as usize]);
        for t in 0..arm.triangles.len() {
            let other = arm.corners(t);
            if other[0].distance(corners[0]) < 3.0 {
                least = least.min(gap([corners[0], corners[1], corners[2]], other).distance);
            }
        }
    }
    assert!(
        (0.99 * CLEARANCE..2.0 * CLEARANCE).contains(&least),
        "{least}"
    );
}

#[test]
fn results_with_a_layer_are_the_same_for_any_number_of_threads() {
    let folder = Folder::new();
    let job = job(&folder, "");
    let of = |threads: &str| {
        let out = folder.join(threads);
        let words = ["run", word(&job), "--out", word(&out), "--pictures", "0"];
        loopwright(&[&words[..], &["--threads", threads]].concat());
        ["surface.obj", "findings.json"].map(|name| fs::read(out.join(name)).unwrap())
    };
    assert!(of("1") == of("3"));
}

#[test]
fn no_room_between_two_layers_fails_with_places() {
    let folder = Folder::new();
    let tight = files::ply_bytes(&{
        let mut mesh = arm();
        // The same arm from outside: no room at all for a sleeve between.
        mesh.positions.iter_mut().for_each(|p| p.x += 0.001);
        mesh
    });
    folder.write("tight.ply", tight);
    let over =
        "\n[[layer]]\nname = \"wrap\"\nfile = \"tight.ply\"\nside = \"over\"\nclearance = 0.3\n";
    let done = run(&job(&folder, over), &folder.join("out"));
    assert_eq!(done.status, Some(1), "{done:?}");
    let bytes = fs::read(folder.join("out").join("findings.json")).unwrap();
    let findings: Value = serde_json::from_slice(&bytes).unwrap();
    let all = findings["findings"].as_array().unwrap();
    let failed =
        |f: &&Value| f["level"] == "fail" && f["code"].as_str().unwrap().starts_with("layer-");
    assert!(
        !all.iter().find(failed).unwrap()["places"]
            .as_array()
            .unwrap()
            .is_empty()
    );
}

#[test]
fn a_layer_that_cannot_be_read_is_refused_with_its_line() {
    let folder = Folder::new();
    let job = job(&folder, "part = \"hand\"\n");
    let line = 1 + fs::read_to_string(&job)
        .unwrap()
        .lines()
        .position(|l| l == "[[layer]]")
        .unwrap();
    let out = folder.join("out");
    let refused = run(&job, &out);
    assert_eq!(refused.status, Some(2));
    assert!(
        refused
            .stderr
            .contains(&format!("sleeve.toml:{line}: layer 'arm': ")),
        "{refused:?}"
    );
    assert!(refused.stderr.contains("no part 'hand'"), "{refused:?}");
    fs::remove_file(folder.join("arm.ply")).unwrap();
    let refused = run(&job, &out);
    assert_eq!(refused.status, Some(2));
    assert!(!out.exists());
}
