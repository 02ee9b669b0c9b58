use super::*;

const EDITS: &str = r#"
# The elbow needs one more.
[[edit]]
do = "insert"
at = [31.0, 104.2, 3.5]
along = [0, 1, 0]
recount = true   # 12 became 13

[[edit]]
do = "remove"
at = [1, 2, 3]
along = [1.0, 0, 0]

[[edit]]
do = "slide"
at = [1, 2, 3]
along = [1, 0, 0]
share = -0.25

[[edit]]
do = "move"
at = [1, 2, 3]
to = [1.5, 2, 3]
relax = 2
"#;

fn edited() -> JobFile {
    parse(&format!("{COAT}{EDITS}")).unwrap()
}

#[test]
fn edits_are_read_in_order_with_their_lines() {
    let (at, along) = (DVec3::new(1.0, 2.0, 3.0), DVec3::X);
    let first = COAT.lines().count() + 3;
    let expected = [
        (
            ChangeSpec::Insert {
                at: DVec3::new(31.0, 104.2, 3.5),
                along: DVec3::Y,
                share: 0.5,
            },
            true,
            first,
        ),
        (ChangeSpec::Remove { at, along }, false, first + 6),
        (
            ChangeSpec::Slide {
                at,
                along,
                share: -0.25,
            },
            false,
            first + 11,
        ),
        (
            ChangeSpec::Move {
                at,
                to: DVec3::new(1.5, 2.0, 3.0),
                relax: 2,
            },
            false,
            first + 17,
        ),
    ];
    let expected = expected.map(|(change, recount, line)| EditSpec {
        change,
        recount,
        line,
    });
    assert_eq!(edited().spec().edits, expected);
}

#[test]
fn an_edit_is_appended_and_all_else_stays() {
    for start in [COAT.to_owned(), format!("{COAT}{EDITS}")] {
        let mut job = parse(&start).unwrap();
        let edit = EditSpec {
            change: ChangeSpec::Slide {
                at: DVec3::new(0.1, 0.2, 1.0 / 3.0),
                along: DVec3::Z,
                share: 0.75,
            },
            recount: false,
            line: 0,
        };
        job.append_edit(edit.clone()).unwrap();
        let text = job.text();
        let added = text.strip_prefix(&start).unwrap();
        assert!(
            added.trim_start().starts_with("[[edit]]\ndo = \"slide\"\n"),
            "{added}"
        );
        let last = parse(&text).unwrap().spec().edits.last().unwrap().clone();
        assert_eq!(last.change, edit.change);
        assert_eq!(text.lines().nth(last.line - 1), Some("[[edit]]"));
    }
}

#[test]
fn edits_can_change_places_and_go() {
    let mut job = edited();
    let mut spec = job.spec().clone();
    spec.edits.swap(0, 2);
    spec.edits.pop();
    job.update(spec).unwrap();
    let text = job.text();
    let at = |what: &str| text.find(what).unwrap();
    assert!(at("slide") < at("remove") && at("remove") < at("# The elbow"));
    assert!(text.contains("recount = true   # 12 became 13\n"));
    assert!(!text.contains("\"move\""));
    let mut spec = job.spec().clone();
    spec.edits.clear();
    job.update(spec).unwrap();
    assert!(!job.text().contains("edit"));
}

#[test]
fn a_new_file_holds_its_edits() {
    let job = edited();
    let made = JobFile::create(Path::new("x.toml"), job.spec()).unwrap();
    let bare = |job: &JobFile| {
        let edits = job.spec().edits.iter().map(|e| (e.change, e.recount));
        edits.collect::<Vec<_>>()
    };
    assert_eq!(bare(&made), bare(&job));
}

#[test]
fn what_an_edit_cant_say_is_refused_where_it_stands() {
    for (from, to, part) in [
        ("do = \"insert\"", "do = \"insrt\"", "Did you mean 'insert'"),
        ("do = \"insert\"\n", "", "'do' is missing"),
        ("recount = true", "recuont = true", "Did you mean 'recount'"),
        ("share = -0.25\n", "", "'share' is missing"),
        ("share = -0.25", "share = -1", "above -1 and below 1"),
        (
            "share = -0.25",
            "share = 0.1\nrecount = true",
            "unknown key 'recount'",
        ),
        ("relax = 2", "relax = 9", "from 0 to 8"),
        ("along = [1.0, 0, 0]", "along = [0, 0, 0]", "points nowhere"),
        ("along = [1.0, 0, 0]\n", "", "'along' is missing"),
        ("to = [1.5, 2, 3]", "to = [1.5, 2]", "three finite numbers"),
    ] {
        assert!(EDITS.contains(from), "{from}");
        let start = EDITS.find(from).unwrap();
        let number = EDITS[..start].matches("[[edit]]").count();
        let text = format!("{COAT}{}", EDITS.replacen(from, to, 1));
        let error = parse(&text).unwrap_err();
        let message = error.to_string();
        assert_eq!(error.problems.len(), 1, "{message}");
        assert!(message.contains(part), "{message}");
        assert!(
            message.contains(&format!("edit {number} of the file")),
            "{message}"
        );
        assert!(
            error.problems[0]
                .at
                .is_some_and(|at| at.line > COAT.lines().count())
        );
    }
}
