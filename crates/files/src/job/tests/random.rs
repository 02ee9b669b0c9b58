use proptest::prelude::*;

use super::*;

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
            spec.density = DensitySpec {
                size,
                adapt,
                straddle: !fit,
            };
            spec.sculpt.part = part;
            spec.guides = guides
                .into_iter()
                .enumerate()
                .map(|(i, (kind, closed, count, points))| GuideSpec {
                    name: format!("guide {i}"),
                    kind,
                    closed,
                    count,
                    loops: if closed && kind == GuideKind::Ring {
                        i as u32 % 4
                    } else {
                        0
                    },
                    hard: i % 3 == 1,
                    points,
                    reason: None,
                    confidence: None,
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
