use std::path::Path;

use mesh::DVec3;

use super::*;

mod edits;
mod faults;
mod finish;
mod intent;
mod layers;
mod random;
mod trims;

const COAT: &str = r#"# The keeper's oilskin.
job = 1                          # version of this format
name = "oilskin coat"
units = "cm"

[sculpt]
file = "oilskin.ply"             # relative to this file
part = "coat"

[symmetry]
plane = "x"
sides = "fit"

[density]
faces = 2400   # enough for the hem
adapt = 0.25

# The cuffs fold back here.
[[guide]]
name = "left wrist"
kind = "opening"
count = 12
points = [[31.0, 92.4, 1.2], [33, 92.5, 0], [32.1, 92.2, -1.5]]

[[guide]]
name = "placket"  # overlaps by two fingers
kind = "line"
points = [
  [0.0, 140.0, 9.0],   # below the collar
  [0.0, 60.0, 12.0],
]
"#;

fn parse(text: &str) -> Result<JobFile, JobError> {
    JobFile::parse(Path::new("yard/coat.toml"), text)
}

fn coat() -> JobFile {
    parse(COAT).unwrap()
}

#[test]
fn the_whole_format_is_read() {
    let job = coat();
    let expected = JobSpec {
        name: "oilskin coat".into(),
        units: "cm".into(),
        sculpt: SculptSpec {
            file: "oilskin.ply".into(),
            part: Some(PartSpec::Named("coat".into())),
        },
        symmetry: SymmetrySpec {
            plane: PlaneSpec::X,
            sides: Sides::Fit,
        },
        density: DensitySpec {
            size: Size::Faces(2400),
            adapt: 0.25,
            straddle: true,
        },
        guides: vec![
            GuideSpec {
                name: "left wrist".into(),
                kind: GuideKind::Opening,
                closed: true,
                count: Some(12),
                loops: 0,
                hard: false,
                points: vec![
                    DVec3::new(31.0, 92.4, 1.2),
                    DVec3::new(33.0, 92.5, 0.0),
                    DVec3::new(32.1, 92.2, -1.5),
                ],
                reason: None,
                confidence: None,
                line: 19,
            },
            GuideSpec {
                name: "placket".into(),
                kind: GuideKind::Line,
                closed: false,
                count: None,
                loops: 0,
                hard: false,
                points: vec![DVec3::new(0.0, 140.0, 9.0), DVec3::new(0.0, 60.0, 12.0)],
                reason: None,
                confidence: None,
                line: 25,
            },
        ],
        edits: vec![],
        areas: vec![],
        pins: vec![],
        keep_outs: vec![],
        holds: vec![],
        trims: vec![],
        layers: vec![],
        lining: None,
        shading: ShadingSpec::default(),
    };
    assert_eq!(*job.spec(), expected);
    assert_eq!(job.sculpt_path(), Path::new("yard/oilskin.ply"));
    assert_eq!(job.text(), COAT);
}

#[test]
fn a_key_has_its_line() {
    let job = coat();
    assert_eq!(job.line_of("sculpt", "file"), Some(7));
    assert_eq!(job.line_of("density", "adapt"), Some(16));
    assert_eq!(job.line_of("density", "edge"), None);
    assert_eq!(job.line_of("trim", "width"), None);
}

#[test]
fn defaults_fill_what_is_left_out() {
    let job = parse("job = 1\nsculpt.file = \"/sculpts/boot.glb\"\n").unwrap();
    let spec = job.spec();
    assert_eq!((spec.name.as_str(), spec.units.as_str()), ("coat", "cm"));
    assert_eq!(
        (spec.symmetry.plane, spec.symmetry.sides),
        (PlaneSpec::None, Sides::Mirror)
    );
    assert_eq!(
        spec.density,
        DensitySpec {
            size: Size::Faces(1800),
            adapt: 0.5,
            straddle: true,
        }
    );
    assert_eq!(spec.sculpt.part, None);
    assert!(spec.guides.is_empty());
    assert_eq!(job.sculpt_path(), Path::new("/sculpts/boot.glb"));
}

#[test]
fn given_planes_edges_and_inline_guides_are_read() {
    let text = "job = 1\nguide = [{ name = 'sole', kind = 'line', closed = true, points = [[0,0,0],[1,0,0],[0,1,0]] }]\n\
        [sculpt]\nfile = 'boot.stl'\npart = 'largest'\n[symmetry]\nplane = { origin = [1, 2.5, 0], normal = [0, 3, 4] }\n\
        [density]\nedge = 2\n";
    let spec = parse(text).unwrap().spec().clone();
    let normal = DVec3::new(0.0, 3.0, 4.0);
    assert_eq!(
        spec.symmetry.plane,
        PlaneSpec::Given {
            origin: DVec3::new(1.0, 2.5, 0.0),
            normal
        }
    );
    assert_eq!(spec.density.size, Size::Edge(2.0));
    assert_eq!(spec.sculpt.part, Some(PartSpec::Largest));
    assert!(spec.guides[0].closed);
    assert_eq!(spec.guides[0].line, 2);
}

#[test]
fn overrides_are_held_to_the_same_limits() {
    let mut spec = coat().spec().clone();
    assert!(matches!(
        spec.set_faces(7),
        Err(JobFault::OutOfRange { .. })
    ));
    assert!(matches!(
        spec.set_edge(f64::NAN),
        Err(JobFault::OutOfRange { .. })
    ));
    assert!(matches!(
        spec.set_adapt(-0.1),
        Err(JobFault::OutOfRange { .. })
    ));
    assert!(matches!(
        spec.set_plane("left"),
        Err(JobFault::UnknownWord { .. })
    ));
    assert!(matches!(
        spec.set_sides("none"),
        Err(JobFault::UnknownWord { .. })
    ));
    assert_eq!(spec, *coat().spec());
    spec.set_edge(1.5).unwrap();
    spec.set_adapt(1.0).unwrap();
    spec.set_plane("none").unwrap();
    spec.set_sides("mirror").unwrap();
    assert_eq!(
        spec.density,
        DensitySpec {
            size: Size::Edge(1.5),
            adapt: 1.0,
            straddle: true,
        }
    );
    assert_eq!(spec.symmetry, SymmetrySpec::default());
}

/// An inch is 2.54 cm and a foot 12 inches (international yard and pound agreement, 1959).
#[test]
fn units_have_their_lengths() {
    assert_eq!(metres_per_unit("cm"), Some(0.01));
    assert!((metres_per_unit("ft").unwrap() / metres_per_unit("in").unwrap() - 12.0).abs() < 1e-12);
    assert_eq!(metres_per_unit("fathom"), None);
}

#[test]
fn an_update_changes_only_its_lines() {
    let mut job = coat();
    let mut spec = job.spec().clone();
    spec.set_faces(3000).unwrap();
    spec.guides[0].count = None;
    spec.guides[1].points[0].y = 139.5;
    job.update(spec.clone()).unwrap();
    let text = job.text();
    assert!(
        text.contains("faces = 3000   # enough for the hem"),
        "{text}"
    );
    assert!(!text.contains("count"));
    assert!(
        text.contains("# The cuffs fold back here.\n[[guide]]\nname = \"left wrist\"\n"),
        "{text}"
    );
    assert!(text.contains("name = \"placket\"  # overlaps by two fingers\n"));
    assert!(text.contains("points = [[0.0, 139.5, 9.0], [0.0, 60.0, 12.0]]"));
    let untouched = COAT.lines().filter(|l| {
        !["faces", "count", "points", "  [", "]"]
            .iter()
            .any(|s| l.starts_with(s))
    });
    for line in untouched {
        assert!(text.contains(line), "{line}");
    }
    spec.set_edge(1.25).unwrap();
    job.update(spec).unwrap();
    assert!(job.text().contains("edge = 1.25") && !job.text().contains("faces"));
}

#[test]
fn guides_move_with_their_comments_and_can_be_renamed_added_and_removed() {
    let mut job = coat();
    let mut spec = job.spec().clone();
    spec.guides.swap(0, 1);
    let mut belt = spec.guides[1].clone();
    belt.name = "belt".into();
    belt.kind = GuideKind::Ring;
    spec.guides.push(belt);
    job.update(spec.clone()).unwrap();
    let text = job.text();
    let at = |what: &str| {
        text.find(what)
            .unwrap_or_else(|| panic!("{what} in {text}"))
    };
    assert!(
        at("placket") < at("# The cuffs")
            && at("# The cuffs") < at("left wrist")
            && at("left wrist") < at("belt")
    );
    spec.guides.remove(2);
    spec.guides[0].name = "button line".into();
    job.update(spec.clone()).unwrap();
    assert!(
        job.text()
            .contains("name = \"button line\"  # overlaps by two fingers")
    );
    spec.guides.clear();
    job.update(spec).unwrap();
    assert!(!job.text().contains("guide"));
}

#[test]
fn a_refused_update_changes_nothing() {
    let mut job = coat();
    let mut spec = job.spec().clone();
    spec.guides[1].name = "left wrist".into();
    let fault = job.update(spec).unwrap_err().problems.remove(0).fault;
    assert!(matches!(fault, JobFault::DuplicateName { .. }));
    assert_eq!(job.text(), COAT);
}

#[test]
fn a_changed_kind_keeps_the_stated_closing() {
    let mut job = coat();
    let mut spec = job.spec().clone();
    spec.guides[0].kind = GuideKind::Line; // still closed, which a line isn't by default
    job.update(spec.clone()).unwrap();
    assert!(job.spec().guides[0].closed);
}

#[test]
fn a_saved_job_reads_back() {
    let path = std::env::temp_dir().join(format!("loopwright-saved-{}.toml", std::process::id()));
    let mut job = JobFile::create(&path, coat().spec()).unwrap();
    job.save().unwrap();
    let mut spec = job.spec().clone();
    spec.set_adapt(0.75).unwrap();
    job.update(spec).unwrap();
    job.save().unwrap();
    let read = JobFile::read(&path).unwrap();
    std::fs::remove_file(&path).unwrap();
    assert_eq!(read.spec(), job.spec());
    assert_eq!(read.text(), job.text());
}

#[test]
fn a_proposed_guide_has_its_reason_above_it_and_in_it() {
    let mut job = coat();
    let mut spec = job.spec().clone();
    spec.guides.push(GuideSpec {
        name: "limb 1, bend".into(),
        kind: GuideKind::Ring,
        closed: true,
        count: Some(8),
        loops: 0,
        hard: false,
        points: vec![DVec3::ZERO, DVec3::X, DVec3::Y],
        reason: Some("the limb bends here".into()),
        confidence: Some(0.75),
        line: 0,
    });
    job.update(spec).unwrap();
    let text = job.text();
    assert!(text.starts_with(COAT.trim_end()), "{text}");
    assert!(
        text.contains("\n\n# Proposed: the limb bends here (confidence 0.75)\n[[guide]]\n"),
        "{text}"
    );
    let read = parse(&text).unwrap();
    assert_eq!(
        read.spec().guides[2].reason.as_deref(),
        Some("the limb bends here")
    );
    assert_eq!(read.spec().guides[2].confidence, Some(0.75));
    let wrong = parse(&text.replace("confidence = 0.75", "confidence = 1.5")).unwrap_err();
    assert!(wrong.to_string().contains("from 0 to 1"), "{wrong}");
}
