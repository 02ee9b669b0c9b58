use std::path::Path;

use mesh::DVec3;
use proptest::prelude::*;

use super::*;

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
        },
        guides: vec![
            GuideSpec {
                name: "left wrist".into(),
                kind: GuideKind::Opening,
                closed: true,
                count: Some(12),
                points: vec![
                    DVec3::new(31.0, 92.4, 1.2),
                    DVec3::new(33.0, 92.5, 0.0),
                    DVec3::new(32.1, 92.2, -1.5),
                ],
                line: 19,
            },
            GuideSpec {
                name: "placket".into(),
                kind: GuideKind::Line,
                closed: false,
                count: None,
                points: vec![DVec3::new(0.0, 140.0, 9.0), DVec3::new(0.0, 60.0, 12.0)],
                line: 25,
            },
        ],
    };
    assert_eq!(*job.spec(), expected);
    assert_eq!(job.sculpt_path(), Path::new("yard/oilskin.ply"));
    assert_eq!(job.text(), COAT);
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
            adapt: 0.5
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

/// Replaces one line of the coat and gives the problems.
fn problems_with(old: &str, new: &str) -> Vec<JobProblem> {
    assert!(COAT.contains(old));
    parse(&COAT.replacen(old, new, 1)).unwrap_err().problems
}

fn only_problem(old: &str, new: &str) -> JobProblem {
    let mut problems = problems_with(old, new);
    assert_eq!(problems.len(), 1, "{problems:?}");
    problems.remove(0)
}

#[test]
fn each_fault_is_found_where_it_stands() {
    type Is = fn(&JobFault) -> bool;
    let cases: [(&str, &str, usize, Is); 33] = [
        ("job = 1 ", "job = 2 ", 2, |f| {
            matches!(f, JobFault::Version { found: 2 })
        }),
        ("job = 1 ", "job = \"1\" ", 2, |f| {
            matches!(
                f,
                JobFault::WrongType {
                    found: "a text",
                    ..
                }
            )
        }),
        ("job = 1 ", "", 1, |f| matches!(f, JobFault::Missing { .. })),
        ("units = \"cm\"", "units = \" \"", 4, |f| {
            matches!(f, JobFault::Empty { .. })
        }),
        ("units = \"cm\"", "units = 1.5", 4, |f| {
            matches!(f, JobFault::WrongType { .. })
        }),
        (
            "units = \"cm\"",
            "unit = \"cm\"",
            4,
            |f| matches!(f, JobFault::UnknownKey { nearest: Some(n), .. } if n == "units"),
        ),
        (
            "[symmetry]",
            "[simmetry]",
            10,
            |f| matches!(f, JobFault::UnknownKey { nearest: Some(n), .. } if n == "symmetry"),
        ),
        ("[[guide]]", "[[trim]]", 19, |f| {
            matches!(f, JobFault::LaterTable { .. })
        }),
        ("file = \"oilskin.ply\"", "", 6, |f| {
            matches!(f, JobFault::Missing { .. })
        }),
        ("part = \"coat\"", "part = 3", 8, |f| {
            matches!(f, JobFault::WrongType { .. })
        }),
        ("plane = \"x\"", "plane = \"w\"", 11, |f| {
            matches!(f, JobFault::UnknownWord { .. })
        }),
        (
            "plane = \"x\"",
            "plane = \"fnid\"",
            11,
            |f| matches!(f, JobFault::UnknownWord { nearest: Some(n), .. } if n == "find"),
        ),
        ("plane = \"x\"", "plane = { normal = [1, 0, 0] }", 11, |f| {
            matches!(f, JobFault::Missing { .. })
        }),
        (
            "plane = \"x\"",
            "plane = { origin = [0, 0, 0], normal = [0, 0, 0.0] }",
            11,
            |f| matches!(f, JobFault::ZeroNormal),
        ),
        (
            "plane = \"x\"",
            "plane = { origin = [0, 0], normal = [1, 0, 0] }",
            11,
            |f| matches!(f, JobFault::WrongType { .. }),
        ),
        (
            "plane = \"x\"",
            "plane = { origin = [0, 0, nan], normal = [1, 0, 0] }",
            11,
            |f| matches!(f, JobFault::WrongType { .. }),
        ),
        (
            "plane = \"x\"",
            "plane = { origin = [0, 0, 0], normal = [1, 0, 0], up = 1 }",
            11,
            |f| matches!(f, JobFault::UnknownKey { .. }),
        ),
        ("sides = \"fit\"", "sides = \"both\"", 12, |f| {
            matches!(f, JobFault::UnknownWord { .. })
        }),
        ("faces = 2400", "faces = 49", 15, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("faces = 2400", "faces = 200001", 15, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("faces = 2400", "faces = 2.5", 15, |f| {
            matches!(f, JobFault::WrongType { .. })
        }),
        ("faces = 2400", "edge = 0", 15, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("faces = 2400", "edge = inf", 15, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("adapt = 0.25", "adapt = 1.5", 16, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("adapt = 0.25", "edge = 1.5", 16, |f| {
            matches!(f, JobFault::BothSizes)
        }),
        (
            "kind = \"opening\"",
            "kind = \"openig\"",
            21,
            |f| matches!(f, JobFault::UnknownWord { nearest: Some(n), .. } if n == "opening"),
        ),
        ("kind = \"opening\"", "", 19, |f| {
            matches!(f, JobFault::Missing { .. })
        }),
        ("count = 12", "count = 2", 22, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("count = 12", "count = 10001", 22, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("count = 12", "closed = 1", 22, |f| {
            matches!(f, JobFault::WrongType { .. })
        }),
        ("[33, 92.5, 0]", "[33, 92.5]", 23, |f| {
            matches!(f, JobFault::Point { index: 2, .. })
        }),
        (", [33, 92.5, 0]", "", 23, |f| {
            matches!(
                f,
                JobFault::TooFewPoints {
                    have: 2,
                    need: 3,
                    closed: true
                }
            )
        }),
        ("name = \"placket\"", "name = \"left wrist\"", 26, |f| {
            matches!(f, JobFault::DuplicateName { first_line: 19 })
        }),
    ];
    for (old, new, line, is_it) in cases {
        let problem = only_problem(old, new);
        assert!(is_it(&problem.fault), "{new}: {:?}", problem.fault);
        assert_eq!(problem.at.unwrap().line, line, "{new}: {}", problem.fault);
    }
}

#[test]
fn more_faults_of_guides() {
    let open = |count: &str| {
        COAT.replace(
            "kind = \"line\"",
            &format!("kind = \"line\"\ncount = {count}"),
        )
    };
    assert_eq!(parse(&open("1")).unwrap().spec().guides[1].count, Some(1));
    assert!(matches!(
        parse(&open("0")).unwrap_err().problems[0].fault,
        JobFault::OutOfRange { .. }
    ));
    let no_list = only_problem(
        "[[guide]]\nname = \"left wrist\"",
        "[guide]\nname = \"left wrist\"\n[[x]]",
    );
    assert!(matches!(no_list.fault, JobFault::Syntax { .. }));
    let one_point = only_problem("  [0.0, 60.0, 12.0],\n", "");
    assert!(matches!(
        one_point.fault,
        JobFault::TooFewPoints {
            have: 1,
            need: 2,
            closed: false
        }
    ));
    let single = parse("job = 1\nguide = 3\n[sculpt]\nfile = 'a'\n")
        .unwrap_err()
        .problems
        .remove(0);
    assert!(matches!(single.fault, JobFault::WrongType { .. }));
}

#[test]
fn all_problems_come_at_once_in_the_order_of_the_file() {
    let text = "jobs = 1\n[sculpt]\npart = 1\n[density]\nfaces = 1\nadapt = 'much'\n[[guide]]\nkind = 'hem'\npoints = [1]\n";
    let error = parse(text).unwrap_err();
    let lines: Vec<usize> = error.problems.iter().map(|p| p.at.unwrap().line).collect();
    assert_eq!(lines, [1, 1, 2, 3, 5, 6, 7, 8, 9]);
    let message = error.to_string();
    assert!(
        message
            .contains("yard/coat.toml:5:1: [density]: 'faces' is 1; it must be from 50 to 200000"),
        "{message}"
    );
    assert!(
        message.contains("yard/coat.toml:8:1: guide 1 of the file: 'kind' is \"hem\""),
        "{message}"
    );
    assert!(
        message.contains("unknown key 'jobs'. Did you mean 'job'?"),
        "{message}"
    );
}

#[test]
fn columns_count_characters() {
    let problem = parse("job = 1\nsculpt = { file = 'öl', fiel = 1 }\n")
        .unwrap_err()
        .problems
        .remove(0);
    assert_eq!(
        problem.at,
        Some(LineColumn {
            line: 2,
            column: 25
        })
    );
}

#[test]
fn files_that_are_no_jobs_are_refused() {
    let folder = std::env::temp_dir();
    let path = folder.join(format!("loopwright-job-{}.toml", std::process::id()));
    let fault_of = |bytes: &[u8]| {
        std::fs::write(&path, bytes).unwrap();
        JobFile::read(&path).unwrap_err().problems.remove(0).fault
    };
    assert!(matches!(fault_of(&[0xff, 0xfe]), JobFault::NotText));
    assert!(matches!(fault_of(b"job = = 1"), JobFault::Syntax { .. }));
    std::fs::File::create(&path)
        .unwrap()
        .set_len(LARGEST_FILE + 1)
        .unwrap();
    let fault = JobFile::read(&path).unwrap_err().problems.remove(0).fault;
    assert!(matches!(fault, JobFault::TooLarge { .. }));
    std::fs::write(&path, format!("\u{feff}{COAT}")).unwrap();
    assert_eq!(JobFile::read(&path).unwrap().spec(), coat().spec());
    std::fs::remove_file(&path).unwrap();
    for missing in [path.as_path(), folder.as_path()] {
        assert!(matches!(
            JobFile::read(missing).unwrap_err().problems[0].fault,
            JobFault::Io(_)
        ));
    }
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
            adapt: 1.0
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

fn specs() -> impl Strategy<Value = JobSpec> {
    let point = prop::array::uniform3(-1e4f64..1e4).prop_map(DVec3::from_array);
    let kinds = prop::sample::select(GuideKind::WORDS.map(|(_, kind)| kind).to_vec());
    let guide = (
        kinds,
        any::<bool>(),
        prop::option::of(3u32..500),
        prop::collection::vec(point.clone(), 3..30),
    );
    let plane = prop_oneof![
        prop::sample::select(PlaneSpec::WORDS.map(|(_, plane)| plane).to_vec()),
        (point, 0.1f64..9.0).prop_map(|(origin, x)| PlaneSpec::Given {
            origin,
            normal: DVec3::new(x, 1.0, 0.0)
        }),
    ];
    let size = prop_oneof![
        (50u32..200_000).prop_map(Size::Faces),
        (0.001f64..1e3).prop_map(Size::Edge)
    ];
    let part = prop::option::of(prop_oneof![
        Just(PartSpec::Largest),
        Just(PartSpec::Named("left \"boot\"".into()))
    ]);
    (
        plane,
        any::<bool>(),
        size,
        0.0f64..=1.0,
        part,
        "[ -~äß]{0,12}x",
        prop::collection::vec(guide, 0..6),
    )
        .prop_map(|(plane, fit, size, adapt, part, name, guides)| {
            let mut spec = JobSpec::new(name, "sub folder/sculpt.obj");
            spec.symmetry = SymmetrySpec {
                plane,
                sides: if fit { Sides::Fit } else { Sides::Mirror },
            };
            spec.density = DensitySpec { size, adapt };
            spec.sculpt.part = part;
            spec.guides = guides
                .into_iter()
                .enumerate()
                .map(|(i, (kind, closed, count, points))| GuideSpec {
                    name: format!("guide {i}"),
                    kind,
                    closed,
                    count,
                    points,
                    line: 0,
                })
                .collect();
            spec
        })
}

fn without_lines(spec: &JobSpec) -> JobSpec {
    let mut spec = spec.clone();
    spec.guides.iter_mut().for_each(|guide| guide.line = 0);
    spec
}

proptest! {
    #[test]
    fn any_spec_comes_back_from_its_text(spec in specs()) {
        let job = JobFile::create(Path::new("x.toml"), &spec).unwrap();
        prop_assert_eq!(without_lines(job.spec()), spec);
        for (guide, number) in job.spec().guides.iter().zip(0..) {
            let text = job.text();
            prop_assert_eq!(text.lines().nth(guide.line - 1), Some("[[guide]]"), "guide {}", number);
        }
    }

    /// Whatever a job said before, after an update it says what it was told.
    #[test]
    fn any_update_arrives(old in specs(), new in specs(), turn in 0usize..6) {
        let mut new = new;
        if !new.guides.is_empty() {
            let by = turn % new.guides.len();
            new.guides.rotate_left(by);
        }
        let mut job = JobFile::create(Path::new("x.toml"), &old).unwrap();
        job.update(new.clone()).unwrap();
        prop_assert_eq!(without_lines(job.spec()), new);
    }

    #[test]
    fn damaged_text_never_panics(at in any::<prop::sample::Index>(), with in "[ -~\n]{0,5}", drop in 0usize..30) {
        let start = at.index(COAT.len());
        let end = (start + drop).min(COAT.len());
        if let (Some(before), Some(after)) = (COAT.get(..start), COAT.get(end..)) {
            let _: Result<JobFile, JobError> = parse(&format!("{before}{with}{after}"));
        }
    }
}
