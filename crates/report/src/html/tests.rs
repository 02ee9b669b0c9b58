use super::*;
use crate::testing::Sample;
use base::Place;

/// Values of all attributes with one of these names.
fn attributes<'a>(page: &'a str, names: &[&str]) -> Vec<&'a str> {
    let mut found = Vec::new();
    for name in names {
        let key = format!("{name}=\"");
        found.extend(
            page.split(key.as_str())
                .skip(1)
                .filter_map(|rest| rest.split('"').next()),
        );
    }
    found
}

#[test]
fn the_page_stands_by_itself() {
    let sample = Sample::new(80);
    let page = html(&sample.input(), &Task::default()).unwrap();
    let sources = attributes(&page, &["src", "href", "srcset", "data", "action"]);
    assert!(sources.len() >= 10);
    assert!(
        sources
            .iter()
            .all(|s| s.starts_with("data:image/png;base64,"))
    );
    for outside in ["http", "url(", "@import", "<script", "<link", "<iframe"] {
        assert!(!page.contains(outside), "{outside}");
    }
    assert!(page.contains("<h1>Not ready</h1>"));
    assert!(page.contains("prefers-color-scheme: dark"));
}

#[test]
fn every_text_is_escaped() {
    let mut sample = Sample::new(64);
    let nasty = "<script>alert('x')</script>\"&\u{0}";
    sample.title = nasty.into();
    sample.job = nasty.into();
    sample.guides[0].name = nasty.into();
    sample.guides[1].kind = nasty.into();
    sample.poles[0].reason = nasty.into();
    sample.stages[0].name = nasty.into();
    sample.tables[0].title = nasty.into();
    sample.tables[0].headings[0] = nasty.into();
    sample.tables[0].rows[0][0] = nasty.into();
    sample
        .findings
        .push(Finding::new(nasty, Level::Note, nasty).at(Place::Guide { name: nasty.into() }));
    let page = html(&sample.input(), &Task::default()).unwrap();
    assert!(!page.contains("<script") && !page.contains("alert('x')") && !page.contains('\u{0}'));
    // Title and caption of a guide stand twice, its kind in the caption too; the rest once.
    let want = 2
        + 2
        + 2
        + [
            "job", "reason", "stage", "table", "heading", "cell", "code", "sentence", "place",
        ]
        .len();
    let harmless = "&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;&quot;&amp;\u{fffd}";
    assert_eq!(page.matches(harmless).count(), want);
}

#[test]
fn fails_come_first_and_order_is_kept_within_a_level() {
    let mut findings = Findings::default();
    for (code, level) in [
        ("a", Level::Pass),
        ("b", Level::Fail),
        ("c", Level::Warn),
        ("d", Level::Fail),
        ("e", Level::Pass),
    ] {
        findings.push(Finding::new(code, level, ""));
    }
    let codes: String = in_order(&findings)
        .iter()
        .map(|f| f.code.as_str())
        .collect();
    assert_eq!(codes, "bdcae");
}

#[test]
fn tags_are_closed_in_order() {
    let sample = Sample::new(64);
    let page = html(&sample.input(), &Task::default()).unwrap();
    let mut open: Vec<&str> = Vec::new();
    for tag in page
        .split('<')
        .skip(1)
        .filter_map(|rest| rest.split('>').next())
    {
        let name = tag
            .trim_start_matches('/')
            .split([' ', '/'])
            .next()
            .unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name));
        } else if !tag.ends_with('/') && !["!DOCTYPE", "meta", "img", "br"].contains(&name) {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?}");
}
