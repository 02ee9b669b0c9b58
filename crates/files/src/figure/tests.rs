use super::*;
use crate::job::JobFault;

const KEEPER: &str = r#"figure = 1
name = "lighthouse keeper"
[symmetry]
plane = "x"
[budget]
faces = 6000
[layers]
clearance = 0.4
[[part]]
name = "head"
job = "head.toml"
[[part]]
name = "left glove"
job = "glove.toml"
faces = 1000
[[part]]
name = "right glove"
image_of = "left glove"
[[part]]
name = "oilskin coat"
job = "coat.toml"
share = 3
over = ["head", "left glove", "right glove"]
clearance = 0.5
"#;

fn parse(text: &str) -> Result<FigureFile, JobError> {
    FigureFile::parse("sets/keeper.toml".as_ref(), text)
}

fn faults(text: &str) -> Vec<(usize, JobFault)> {
    let problems = parse(text).unwrap_err().problems;
    let place = |p: crate::job::JobProblem| (p.at.map_or(0, |at| at.line), p.fault);
    problems.into_iter().map(place).collect()
}

#[test]
fn a_figure_is_read_with_what_its_parts_share() {
    let file = parse(KEEPER).unwrap();
    let spec = file.spec();
    assert_eq!(spec.name, "lighthouse keeper");
    assert_eq!(spec.plane, Some(PlaneSpec::X));
    let symmetric: Vec<bool> = spec.parts.iter().map(|p| p.symmetric).collect();
    assert_eq!(symmetric, [true, false, false, true]);
    assert_eq!(spec.parts[2].from, PartFrom::Image(1));
    assert_eq!(spec.parts[3].over, [0, 1, 2]);
    assert_eq!(spec.parts[3].clearance, 0.5);
    assert_eq!(spec.parts[3].folder(), "oilskin-coat");
    // Fixed ones first, an image counts, the rest as one to three.
    let faces = [Some(1000), Some(1000), Some(1000), Some(3000)];
    assert_eq!(spec.faces(), faces);
    let PartFrom::Job(job) = &spec.parts[0].from else {
        panic!("no job");
    };
    assert_eq!(file.job_path(job), Path::new("sets/head.toml"));
}

#[test]
fn without_a_budget_jobs_say_how_many() {
    let text = KEEPER.replace("[budget]\nfaces = 6000\n", "");
    let faces = parse(&text).unwrap().spec().faces();
    assert_eq!(faces, [None, Some(1000), Some(1000), None]);
}

#[test]
fn parts_lie_over_parts_that_stand_before_them() {
    let text = KEEPER.replace("faces = 1000", "over = [\"oilskin coat\", \"haed\"]");
    let found = faults(&text);
    assert_eq!(found.len(), 2, "{found:?}");
    let JobFault::UnknownPart { part, nearest } = &found[0].1 else {
        panic!("{found:?}");
    };
    assert_eq!((found[0].0, part.as_str()), (15, "oilskin coat"));
    assert_eq!(nearest, &None);
    assert!(matches!(&found[1].1, JobFault::UnknownPart { nearest: Some(n), .. } if n == "head"));
}

#[test]
fn images_need_a_plane_and_an_original() {
    let text = KEEPER.replace("[symmetry]\nplane = \"x\"\n", "");
    let found = faults(&text);
    assert!(matches!(
        found.as_slice(),
        [(16, JobFault::ImageWithoutPlane)]
    ));
    let twice =
        "[[part]]\nname = \"third glove\"\nimage_of = \"right glove\"\n[[part]]\nname = \"oil";
    let found = faults(&KEEPER.replace("[[part]]\nname = \"oil", twice));
    assert!(
        matches!(found.as_slice(), [(21, JobFault::ImageOfImage { part })] if part == "right glove"),
        "{found:?}"
    );
    let found = faults(&KEEPER.replace("image_of", "share = 2\nimage_of"));
    assert!(
        matches!(found.as_slice(), [(18, JobFault::EitherOr { .. })]),
        "{found:?}"
    );
}

#[test]
fn each_mistake_is_told_with_its_line() {
    type Is = fn(&JobFault) -> bool;
    let cases: [(&str, &str, usize, Is); 9] = [
        ("figure = 1", "figure = 7", 1, |f| {
            matches!(f, JobFault::Version { key: "figure", .. })
        }),
        ("faces = 6000", "faces = 2100", 9, |f| {
            matches!(f, JobFault::BudgetTooSmall { .. })
        }),
        ("faces = 6000", "faces = 0", 6, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("share = 3", "share = -1", 22, |f| {
            matches!(f, JobFault::OutOfRange { .. })
        }),
        ("share = 3", "share = 3\nfaces = 99", 22, |f| {
            matches!(f, JobFault::EitherOr { .. })
        }),
        ("share = 3", "shares = 3", 22, |f| {
            matches!(f, JobFault::UnknownKey { .. })
        }),
        ("job = \"head.toml\"\n", "", 9, |f| {
            matches!(f, JobFault::EitherOr { .. })
        }),
        ("\"left glove\"\njob", "\"HEAD \"\njob", 13, |f| {
            matches!(f, JobFault::SameFolder { .. })
        }),
        ("plane = \"x\"", "plane = \"find\"", 4, |f| {
            matches!(f, JobFault::UnknownWord { .. })
        }),
    ];
    for (from, to, line, is) in cases {
        let found = faults(&KEEPER.replacen(from, to, 1));
        let told = found.iter().any(|(at, fault)| *at == line && is(fault));
        assert!(told, "{to}: {found:?}");
    }
    let text = KEEPER.replace("[layers]\nclearance = 0.4\n", "");
    let found = faults(&text.replace("clearance = 0.5\n", ""));
    assert!(matches!(found.as_slice(), [(_, JobFault::Missing { key, .. })] if key == "clearance"));
}
