//! `[[trim]]`.

use super::*;

const BASE: &str = "job = 1\nsculpt.file = 'a.ply'\n[[guide]]\nname = 'left wrist'\n\
    kind = 'opening'\npoints = [[0,0,0],[1,0,0],[0,0,1]]\n";
const CUFF: &str = "[[trim]]\n# as fitted\nname = 'left cuff'\nkind = 'cuff'\nguide = 'left wrist'\n\
    height = 4\nthickness = 0.6\n";

#[test]
fn trims_are_read_with_their_defaults_written_and_changed_in_place() {
    let mut job = parse(&format!("{BASE}{CUFF}")).unwrap();
    let wanted = TrimSpec {
        line: 7,
        ..TrimSpec::new("left cuff", TrimKind::Cuff, "left wrist", 4.0, 0.6)
    };
    assert_eq!(job.spec().trims, std::slice::from_ref(&wanted));
    let mut spec = job.spec().clone();
    spec.trims[0] = TrimSpec {
        kind: TrimKind::Collar,
        thickness: 0.5,
        flare: 12.0,
        loops: 3,
        edge: TrimEdge::Rounded,
        front: TrimFront::Gap,
        front_width: 2.0,
        front_at: Some(DVec3::new(0.0, 140.0, 9.0)),
        direction: TrimDirection::Fixed(DVec3::Y),
        side: TrimSide::Within,
        follow: false,
        hard: Some(true),
        ..wanted
    };
    job.update(spec.clone()).unwrap();
    assert_eq!(job.spec().trims, spec.trims);
    assert!(job.text().contains("# as fitted"));
    let new = JobFile::create("new.toml".as_ref(), &spec).unwrap();
    let back = TrimSpec {
        line: 7,
        ..new.spec().trims[0].clone()
    };
    assert_eq!(back, spec.trims[0]);
}

#[test]
fn an_overlap_is_written_and_taken_back() {
    let mut job = parse(&format!("{BASE}{CUFF}")).unwrap();
    let mut spec = job.spec().clone();
    let trim = &mut spec.trims[0];
    (trim.front, trim.lap, trim.upper) = (TrimFront::Overlap, 2.5, TrimEnd::Left);
    job.update(spec.clone()).unwrap();
    assert_eq!(job.spec().trims, spec.trims);
    assert!(
        job.text().contains("lap = 2.5\nupper = \"left\""),
        "{}",
        job.text()
    );
    let trim = &mut spec.trims[0];
    (trim.front, trim.lap, trim.upper) = (TrimFront::Closed, 0.0, TrimEnd::Right);
    job.update(spec.clone()).unwrap();
    assert_eq!(job.spec().trims, spec.trims);
    assert!(!job.text().contains("lap") && !job.text().contains("upper"));
}

#[test]
fn a_hem_is_turned_in_unless_it_says_otherwise() {
    let hem = CUFF.replace("'cuff'", "'hem'");
    let side = |text: &str| parse(&format!("{BASE}{text}")).unwrap().spec().trims[0].side;
    assert_eq!(side(&hem), TrimSide::Within);
    assert_eq!(side(&format!("{hem}side = 'beyond'\n")), TrimSide::Beyond);
    // A kind that changes takes no side with it.
    let mut job = parse(&format!("{BASE}{CUFF}")).unwrap();
    let mut spec = job.spec().clone();
    spec.trims[0].kind = TrimKind::Hem;
    job.update(spec).unwrap();
    assert_eq!(job.spec().trims[0].side, TrimSide::Beyond);
}

#[test]
fn a_band_is_laid_on_top_and_so_may_be_a_cuff() {
    let side = |text: &str| parse(&format!("{BASE}{text}")).unwrap().spec().trims[0].side;
    assert_eq!(side(&CUFF.replace("'cuff'", "'band'")), TrimSide::Upon);
    assert_eq!(side(&format!("{CUFF}side = 'upon'\n")), TrimSide::Upon);
}

#[test]
fn what_a_trim_cant_be_is_said_with_its_line() {
    for (old, new, says, line) in [
        ("height = 4", "hight = 4", "Did you mean 'height'?", 12),
        ("height = 4\n", "", "'height' is missing", 7),
        ("height = 4", "height = 0", "a length above 0", 12),
        ("thickness = 0.6", "thickness = -1", "a length above 0", 13),
        (
            "'left wrist'\nh",
            "'left wirst'\nh",
            "did you mean 'left wrist'?",
            11,
        ),
        ("kind = 'cuff'", "kind = 'cufs'", "Did you mean 'cuff'?", 10),
        ("height", "flare = 81\nheight", "from -80 to 80 degrees", 12),
        ("height", "loops = 65\nheight", "from 0 to 64", 12),
        (
            "height",
            "front_width = 2\nheight",
            "front = \"gap\" or \"overlap\" with this key",
            12,
        ),
        (
            "height",
            "front = 'gap'\nlap = 2\nheight",
            "front = \"overlap\" with this key",
            13,
        ),
        ("height", "front = 'overlap'\nheight", "'lap' is missing", 7),
        (
            "height",
            "front = 'overlap'\nlap = 0\nheight",
            "a length above 0",
            13,
        ),
        (
            "height",
            "front = 'overlap'\nlap = 2\nupper = 'lift'\nheight",
            "Did you mean 'left'?",
            14,
        ),
        (
            "height",
            "direction = [0, 0, 0]\nheight",
            "points nowhere",
            12,
        ),
        (
            "height",
            "direction = 'down'\nheight",
            "Possible are 'axis'",
            12,
        ),
    ] {
        let text = format!("{BASE}{}", CUFF.replacen(old, new, 1));
        let error = parse(&text).unwrap_err();
        let one = error
            .problems
            .iter()
            .find(|p| p.fault.to_string().contains(says));
        let one = one.unwrap_or_else(|| panic!("{new}: {error}"));
        assert_eq!(one.at.unwrap().line, line, "{new}: {}", one.fault);
    }
    let twice = format!("{BASE}{CUFF}{CUFF}");
    assert!(
        parse(&twice)
            .unwrap_err()
            .to_string()
            .contains("has this name too")
    );
}
