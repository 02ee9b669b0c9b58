//! Trims through the binary: woven on, named, as thick as asked; refused by name and line.

use std::fs;
use std::path::Path;

use mesh::QuadMesh;

use crate::support::{Folder, Run, Sleeve, loopwright, word};

const TRIMS: &str = "[[trim]]\nname = \"cuff\"\nkind = \"cuff\"\nguide = \"wrist\"\nheight = 3\n\
    thickness = 0.5\nfollow = false\nfront = \"gap\"\nfront_at = [30, 34, 0]\n\n\
    [[trim]]\nname = \"upper hem\"\nkind = \"hem\"\nguide = \"shoulder\"\nheight = 4\n\
    thickness = 0.4\nedge = \"rounded\"\n";

fn run(job: &Path, folder: &Folder, name: &str) -> Run {
    let out = folder.join(name);
    loopwright(&[
        "run",
        word(job),
        "--out",
        word(&out),
        "--pictures",
        "0",
        "--json",
    ])
}

fn surface(folder: &Folder, name: &str) -> QuadMesh {
    files::read_grouped_quads(&folder.join(name).join("surface.obj")).unwrap()
}

fn job(folder: &Folder, name: &str, more: &str) -> std::path::PathBuf {
    let sleeve = Sleeve::new();
    sleeve.put(folder);
    let path = folder.join(name);
    fs::write(&path, format!("{}{more}", sleeve.text())).unwrap();
    path
}

#[test]
fn trims_stand_in_groups_of_their_own_after_the_surface_as_it_was() {
    let folder = Folder::new();
    assert_eq!(
        run(&job(&folder, "plain.toml", ""), &folder, "plain").status,
        Some(0)
    );
    let trimmed = run(&job(&folder, "trims.toml", TRIMS), &folder, "trims");
    assert_eq!(trimmed.status, Some(0), "{trimmed:?}");
    let (plain, whole) = (surface(&folder, "plain"), surface(&folder, "trims"));
    let n = plain.quads.len();
    assert_eq!(whole.positions[..plain.positions.len()], plain.positions);
    for name in ["cuff", "upper_hem"] {
        let group = whole.groups.iter().find(|g| g.name == name).unwrap();
        assert!(group.quads.len() > 50, "{name}: {}", group.quads.len());
        assert!(group.quads.iter().all(|&q| q as usize >= n), "{name}");
    }
    let grouped: usize = whole.groups.iter().map(|g| g.quads.len()).sum();
    assert_eq!(grouped, whole.quads.len());
    // Exact in z, as the sleeve is.
    let bits = |x: f64, y: f64, z: f64| [x, y, z + 0.0].map(f64::to_bits);
    let mut places: Vec<_> = whole
        .positions
        .iter()
        .map(|p| bits(p.x, p.y, p.z))
        .collect();
    places.sort_unstable();
    for p in &whole.positions {
        assert!(places.binary_search(&bits(p.x, p.y, -p.z)).is_ok(), "{p}");
    }
    // The hem lies within the sleeve, whose shoulder is at y = 0; the cuff beyond x = 30.
    let corners = |name: &str| {
        let group = whole.groups.iter().find(|g| g.name == name).unwrap();
        let quads = group.quads.iter().map(|&q| whole.quads[q as usize]);
        let all: Vec<_> = quads
            .flatten()
            .map(|v| whole.positions[v as usize])
            .collect();
        all
    };
    let hem = corners("upper_hem");
    let [low, high] = [f64::min, f64::max].map(|f| hem.iter().map(|p| p.y).reduce(f).unwrap());
    assert!(
        (-0.3..-0.1).contains(&low) && (3.5..4.5).contains(&high),
        "{low} {high}"
    );
    let cuff = corners("cuff");
    assert!(cuff.iter().all(|p| p.x > 29.5 && p.x < 33.5));
    let codes: Vec<(String, String)> = trimmed.json()["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| {
            (
                f["code"].as_str().unwrap().into(),
                f["level"].as_str().unwrap().into(),
            )
        })
        .collect();
    for code in [
        "trim-thickness",
        "trim-facing",
        "trim-manifold",
        "trim-cuts",
        "trim-mirror",
    ] {
        let found: Vec<_> = codes.iter().filter(|c| c.0 == code).collect();
        assert!(
            !found.is_empty() && found.iter().all(|c| c.1 == "pass"),
            "{code}: {found:?}"
        );
    }
}

/// Trims at both ends and a lining between: closed all round, in the file that was written.
#[test]
fn a_lining_closes_the_sleeve_with_its_trims() {
    let folder = Folder::new();
    let more = format!("{TRIMS}\n[lining]\nthickness = 0.4\n");
    let more = more.replace("thickness = 0.5", "thickness = 0.4");
    let done = run(&job(&folder, "lined.toml", &more), &folder, "lined");
    assert_eq!(done.status, Some(0), "{done:?}");
    let whole = surface(&folder, "lined");
    assert!(whole.topology().face_count.iter().all(|&n| n == 2));
    let group = whole.groups.iter().find(|g| g.name == "lining").unwrap();
    assert!(group.quads.len() > 250, "{}", group.quads.len());
    let findings = done.json()["findings"].as_array().unwrap().clone();
    let of = |code: &str| findings.iter().find(|f| f["code"] == code).unwrap().clone();
    for code in [
        "lining-thickness",
        "lining-facing",
        "lining-manifold",
        "lining-mirror",
        "lining-cuts",
    ] {
        assert_eq!(of(code)["level"], "pass", "{code}");
    }
    // Too thick: nothing is written, and the message has the greatest that goes.
    let thick = "[lining]\nthickness = 3.6\n";
    let refused = run(&job(&folder, "thick.toml", thick), &folder, "thick");
    assert_eq!(refused.status, Some(2), "{refused:?}");
    assert!(
        refused.stderr.contains("[lining]: a thickness of 3.6")
            && refused.stderr.contains("at most")
    );
    assert!(!folder.names().contains(&"thick".to_owned()));
}

/// A band upon the sleeve along its elbow's ring: a closed shell off the cloth, which stays as it was,
/// with hard corners where its rims are, and cleared of what is worn beneath with the cloth.
#[test]
fn a_band_lies_upon_the_surface_along_a_ring() {
    const BAND: &str = "[[trim]]\nname = \"elbow strap\"\nkind = \"band\"\nguide = \"elbow\"\n\
        height = 3\nthickness = 0.4\nhard = true\n";
    let folder = Folder::new();
    run(&job(&folder, "plain.toml", ""), &folder, "plain");
    let done = run(&job(&folder, "band.toml", BAND), &folder, "band");
    assert_eq!(done.status, Some(0), "{done:?}");
    let (plain, whole) = (surface(&folder, "plain"), surface(&folder, "band"));
    assert_eq!(whole.positions[..plain.positions.len()], plain.positions);
    assert_eq!(whole.quads[..plain.quads.len()], plain.quads);
    let group = whole
        .groups
        .iter()
        .find(|g| g.name == "elbow_strap")
        .unwrap();
    let band = QuadMesh {
        positions: whole.positions.clone(),
        quads: group
            .quads
            .iter()
            .map(|&q| whole.quads[q as usize])
            .collect(),
        groups: vec![],
    };
    assert!(band.topology().face_count.iter().all(|&n| n == 2));
    assert_eq!(band.quads.len() % 12, 0);
    // Its sides lie 1.5 to either side of the ring's plane.
    let (sin, cos) = std::f64::consts::FRAC_PI_6.sin_cos();
    let middle = mesh::DVec3::new(14.0 * (1.0 - cos), 16.0 + 14.0 * sin, 0.0);
    let along = mesh::DVec3::new(sin, cos, 0.0);
    let used = band
        .quads
        .iter()
        .flatten()
        .map(|&v| whole.positions[v as usize]);
    let heights: Vec<f64> = used.map(|p| (p - middle).dot(along)).collect();
    let [low, high] = [f64::min, f64::max].map(|f| heights.iter().copied().reduce(f).unwrap());
    assert!(
        (low + 1.5).abs() < 0.3 && (high - 1.5).abs() < 0.3,
        "{low} {high}"
    );
    let findings = done.json()["findings"].as_array().unwrap().clone();
    for code in [
        "trim-thickness",
        "trim-facing",
        "trim-height",
        "trim-manifold",
        "trim-cuts",
        "trim-mirror",
    ] {
        let mut of = findings.iter().filter(|f| f["code"] == code).peekable();
        assert!(
            of.peek().is_some() && of.all(|f| f["level"] == "pass"),
            "{code}"
        );
    }
    let deep = job(
        &folder,
        "deep.toml",
        &BAND.replace("height = 3", "height = 90"),
    );
    let refused = run(&deep, &folder, "deep");
    assert_eq!(refused.status, Some(2), "{refused:?}");
    let says =
        "trim 'elbow strap': 90 is deeper than the rows of quads beside its guide go unbroken";
    assert!(refused.stderr.contains(says), "{refused:?}");
}

#[test]
fn a_trim_that_cant_be_had_is_refused_with_its_line_and_the_way_out() {
    let folder = Folder::new();
    let line = |text: &str| 1 + text.lines().position(|l| l == "[[trim]]").unwrap();
    for (old, new, says) in [
        (
            "thickness = 0.5",
            "thickness = 3.9",
            "goes there (0.8 times that)",
        ),
        (
            "guide = \"wrist\"",
            "guide = \"elbow\"",
            "the surface doesn't end at guide 'elbow'",
        ),
    ] {
        let job = job(&folder, "trims.toml", &TRIMS.replacen(old, new, 1));
        let refused = run(&job, &folder, "refused");
        assert_eq!(refused.status, Some(2), "{refused:?}");
        let place = format!("trims.toml:{}", line(&fs::read_to_string(&job).unwrap()));
        assert!(
            refused.stderr.contains(&place) && refused.stderr.contains(says),
            "{refused:?}"
        );
        assert!(refused.stderr.contains("trim 'cuff'"), "{refused:?}");
        assert!(!folder.names().contains(&"refused".to_owned()));
        // What it says would go, goes.
        if let Some((_, most)) = refused.stderr.split_once("at most ") {
            let most: f64 = most.split(' ').next().unwrap().parse().unwrap();
            assert!(most < 3.9, "{refused:?}");
            let less = format!("thickness = {most}");
            let job = self::job(&folder, "less.toml", &TRIMS.replacen(old, &less, 1));
            let done = run(&job, &folder, "less");
            assert_ne!(done.status, Some(2), "{done:?}");
        }
    }
}
