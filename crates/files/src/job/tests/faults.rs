use super::*;

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
            matches!(
                f,
                JobFault::Version {
                    key: "job",
                    found: 2
                }
            )
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
        ("[[guide]]", "[[seam]]", 19, |f| {
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
            matches!(f, JobFault::DuplicateName { first_line: 19, .. })
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
