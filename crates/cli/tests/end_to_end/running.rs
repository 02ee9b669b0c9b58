//! What a run leaves.

use std::fs;
use std::path::Path;

use files::JobFile;

use crate::support::{Folder, Sleeve, coat, command, loopwright, names_in, word};
use crate::surface::Surface;

const RESULTS: [&str; 4] = ["findings.json", "report.html", "surface.glb", "surface.obj"];

fn surface_of(folder: &Path) -> Surface {
    Surface::parse(&fs::read_to_string(folder.join("surface.obj")).unwrap())
}

#[test]
fn a_sleeve_becomes_quads_with_its_counts_along_its_guides() {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    let job = sleeve.put(&folder);
    let out = folder.join("new/out");
    let run = loopwright(&["run", word(&job), "--out", word(&out), "--pictures", "64"]);
    assert_eq!(run.status, Some(0), "{run:?}");
    assert!(run.stdout.starts_with("Ready: oilskin sleeve"), "{run:?}");
    assert_eq!(names_in(&out), RESULTS);

    let surface = surface_of(&out);
    assert!(surface.faces.iter().all(|face| face.len() == 4));
    assert!((surface.faces.len() as f64 / 300.0 - 1.0).abs() <= 0.03);
    assert!(surface.edges().values().all(|&faces| faces <= 2));
    // An open tube: two vertices' worth of sphere taken away, χ = 0.
    assert_eq!((surface.euler(), surface.valence_sum()), (0, 0));
    assert_eq!(surface.without_image(2), (0, 0));
    let edges = surface.edges();
    for guide in &sleeve.guides {
        let along = surface.edges_along(&guide.points);
        assert_eq!(along.len() as u32, guide.count.unwrap(), "{}", guide.name);
        assert!(Surface::is_one_cycle(&along), "{}", guide.name);
        let faces = if guide.kind == "opening" { 1 } else { 2 };
        assert!(
            along.iter().all(|edge| edges[edge] == faces),
            "{}",
            guide.name
        );
    }
    let boundary = edges.values().filter(|&&faces| faces == 1).count();
    assert_eq!(boundary, 24);
}

#[test]
fn a_coat_keeps_its_counts_and_its_mirror_image() {
    let (folder, run) = coat();
    assert!(matches!(run.status, Some(0 | 1)), "{run:?}");
    for name in RESULTS {
        assert!(folder.join(name).is_file(), "{name}");
    }
    let surface = surface_of(&folder.0);
    assert!(surface.faces.iter().all(|face| face.len() == 4));
    assert!((surface.faces.len() as f64 / 1400.0 - 1.0).abs() <= 0.03);
    assert!(surface.edges().values().all(|&faces| faces <= 2));
    // A sphere with four holes, neck, wrists and hem: χ = 2 − 4.
    assert_eq!((surface.euler(), surface.valence_sum()), (-2, -8));
    assert_eq!(surface.without_image(0), (0, 0));

    let job = JobFile::read(&folder.join("coat.toml")).unwrap();
    let counted = job.spec().guides.iter().filter(|g| g.closed);
    let mut checked = 0;
    for (guide, count) in counted.filter_map(|g| Some((g, g.count?))) {
        let along = surface.edges_along(&guide.points);
        assert_eq!(along.len() as u32, count, "{}: {along:?}", guide.name);
        assert!(Surface::is_one_cycle(&along), "{}: {along:?}", guide.name);
        checked += 1;
    }
    assert_eq!(checked, 11);
}

#[test]
fn one_thread_and_two_write_the_same_bytes() {
    let (folder, _) = coat();
    let out = folder.join("one-thread");
    let job = folder.join("coat.toml");
    let words = ["run", word(&job), "--out", word(&out), "--threads", "1"];
    loopwright(&[&words[..], &["--pictures", "64"]].concat());
    for name in ["surface.obj", "surface.glb", "findings.json"] {
        let (one, two) = (fs::read(out.join(name)), fs::read(folder.join(name)));
        assert!(one.unwrap() == two.unwrap(), "{name} differs");
    }
    // The report has times, but its pictures must be the same.
    let pictures = |path: &Path| -> Vec<String> {
        let page = fs::read_to_string(path.join("report.html")).unwrap();
        page.split("src=\"data:")
            .skip(1)
            .map(|p| p.split('"').next().unwrap().to_owned())
            .collect()
    };
    let (one, two) = (pictures(&out), pictures(&folder.0));
    assert!(!one.is_empty() && one == two);
}

/// Header and chunks as "glTF 2.0 Specification", section 4.4 (Khronos Group, 2021; from
/// memory). `reference/run` has Khronos' own validator look at the whole file.
#[test]
fn the_glb_is_framed_as_the_standard_has_it() {
    let (folder, _) = coat();
    let glb = fs::read(folder.join("surface.glb")).unwrap();
    let number = |at: usize| u32::from_le_bytes(glb[at..at + 4].try_into().unwrap()) as usize;
    assert_eq!(
        (&glb[..4], number(4), number(8)),
        (&b"glTF"[..], 2, glb.len())
    );
    let json_length = number(12);
    assert_eq!(&glb[16..20], b"JSON");
    let json: serde_json::Value = serde_json::from_slice(&glb[20..20 + json_length]).unwrap();
    // glTF counts in metres, the coat in centimetres.
    assert_eq!(
        json["nodes"][0]["scale"],
        serde_json::json!([0.01, 0.01, 0.01])
    );
    let triangles: u64 = json["meshes"][0]["primitives"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| {
            let accessor = p["indices"].as_u64().unwrap() as usize;
            json["accessors"][accessor]["count"].as_u64().unwrap() / 3
        })
        .sum();
    assert_eq!(triangles as usize, 2 * surface_of(&folder.0).faces.len());
}

#[test]
fn findings_and_report_say_the_same() {
    let (folder, run) = coat();
    let text = fs::read_to_string(folder.join("findings.json")).unwrap();
    let findings: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(findings["ready"], run.status == Some(0));
    assert_eq!(findings["name"], "oilskin coat");
    let faces = surface_of(&folder.0).faces.len();
    assert_eq!(findings["measures"]["counts"]["faces"], faces);
    let listed = findings["findings"].as_array().unwrap();
    assert!(
        listed
            .iter()
            .all(|f| !f["sentence"].as_str().unwrap().is_empty())
    );
    let fails = listed.iter().filter(|f| f["level"] == "fail").count();
    assert_eq!(findings["counts"]["fail"], fails);
    let poles = listed.iter().filter(|f| f["code"] == "pole");
    assert_eq!(findings["measures"]["poles"]["poles"], poles.count());

    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    for part in [
        "left wrist",
        "Stages",
        "conform",
        "Patches",
        "[[guide]]",
        "data:image/png",
    ] {
        assert!(page.contains(part), "{part}");
    }
    for fetched in ["http://", "https://", "src=\"/", "<script", "<link"] {
        assert!(!page.contains(fetched), "{fetched}");
    }
}

#[test]
fn overrides_stand_above_the_job() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
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
    let run = loopwright(&[&words[..], &["--faces", "600", "--plane", "none"]].concat());
    let json = run.json();
    assert_eq!(json["ready"], run.status == Some(0), "{run:?}");
    let faces = json["measures"]["counts"]["faces"].as_f64().unwrap();
    assert!((faces / 600.0 - 1.0).abs() <= 0.03, "{faces}");
    assert!(json["measures"].get("mirror").is_none());
    assert!(
        json["stages"]
            .as_array()
            .unwrap()
            .iter()
            .any(|s| s["name"] == "layout")
    );
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(page.contains("faces = 600") && !page.contains("data:image"));
    // The job file itself stays as it was.
    assert_eq!(fs::read_to_string(&job).unwrap(), Sleeve::new().text());
}

#[test]
fn fitted_sides_have_the_mirrored_topology() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let surface = |sides: &str| {
        let out = folder.join(sides);
        let words = ["run", word(&job), "--out", word(&out), "--pictures", "0"];
        let run = loopwright(&[&words[..], &["--sides", sides]].concat());
        assert!(matches!(run.status, Some(0 | 1)), "{run:?}");
        surface_of(&out)
    };
    let (mirrored, fitted) = (surface("mirror"), surface("fit"));
    assert_eq!(mirrored.faces, fitted.faces);
    assert_eq!(mirrored.words.len(), fitted.words.len());
}

#[test]
fn quiet_is_quiet_and_pictures_can_be_files() {
    let folder = Folder::new();
    let job = Sleeve::new().put(&folder);
    let out = folder.join("out");
    let words = [
        "run",
        word(&job),
        "--out",
        word(&out),
        "--pictures",
        "64",
        "-q",
    ];
    let run = loopwright(&[&words[..], &["--picture-files"]].concat());
    assert_eq!(
        (run.status, run.stdout.as_str(), run.stderr.as_str()),
        (Some(0), "", "")
    );
    let names = names_in(&out);
    let pictures: Vec<&String> = names.iter().filter(|n| n.ends_with(".png")).collect();
    assert!(pictures.len() > 5, "{names:?}");
    // "Portable Network Graphics Specification", section 5.2: the first eight bytes.
    let png = fs::read(out.join(pictures[0])).unwrap();
    assert_eq!(png[..8], [137, 80, 78, 71, 13, 10, 26, 10]);
}

/// An interrupt ends the run early and leaves nothing behind.
#[cfg(unix)]
#[test]
fn an_interrupt_leaves_nothing_behind() {
    use std::os::unix::process::ExitStatusExt as _;
    let folder = Folder::new();
    let out = folder.join("out");
    let mut child = command(&["demo", "--out", word(&out)])
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    // Again and again: where this test's own shell ignores the signal, so does the program until it has
    // set its handler.
    let status = loop {
        let sent = std::process::Command::new("kill")
            .args(["-INT", &child.id().to_string()])
            .stderr(std::process::Stdio::null())
            .status()
            .unwrap();
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        assert!(sent.success());
        std::thread::sleep(std::time::Duration::from_millis(20));
    };
    // Before the program has set its handler, the signal itself ends it.
    assert!(
        status.code() == Some(130) || status.signal() == Some(2),
        "{status:?}"
    );
    assert!(folder.names().is_empty());
}

#[test]
fn the_help_has_an_example_and_the_exit_statuses() {
    let run = loopwright(&["--help"]);
    assert_eq!(run.status, Some(0));
    for part in [
        "loopwright run coat.toml --out",
        "[[guide]]",
        "Exit status",
        "refused",
    ] {
        assert!(run.stdout.contains(part), "{part}");
    }
}
