//! The study of quality on one small sculpt.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use loopwright_corpus::{make, study};

/// A tube of some thousand triangles with guides.
const SHAPE: usize = 21;

#[test]
fn each_sculpt_has_a_row_for_each_set_of_guides_and_each_way() {
    let cases = vec![make::made(SHAPE).unwrap()];
    let (rows, pictures) = study::rows(&cases, 200, |_| {}).unwrap();
    assert_eq!(rows.len(), study::SETS.len() * study::choices().len());
    let text = study::text(&rows, &cases, 200, "a commit", "pictures");
    let starts = |line: &str| text.lines().filter(|l| l.starts_with(line)).count();
    for given in study::SETS {
        // Once with every measure, once with the other ways beside each other.
        let row = format!("| {} | {} |", cases[0].name, given.name());
        assert_eq!(starts(&row), 2, "{row}\n{text}");
        for choice in study::choices() {
            let row = format!("| {} | {} |", choice.name, given.name());
            assert_eq!(starts(&row), 1, "{row}\n{text}");
        }
    }
    for row in rows.iter().filter(|r| r.choice == 0) {
        let file = format!("{}-{}.png", cases[0].name, row.given.name());
        let there = pictures.iter().any(|(name, _)| *name == file);
        assert_eq!(there, row.result.is_ok(), "{file}");
        assert_eq!(text.contains(&format!("(pictures/{file})")), there);
    }
    // No surface has fewer poles than its valences must sum up to (Euler's formula).
    let figures = rows[0].result.as_ref().unwrap();
    assert!(figures.measures.poles.poles as u64 >= figures.pole_need);
    // Every line of a table has as many cells as its head.
    for table in text.split("\n\n").filter(|part| part.starts_with('|')) {
        let cells: Vec<usize> = table.lines().map(|l| l.matches('|').count()).collect();
        assert!(cells.windows(2).all(|w| w[0] == w[1]), "{table}");
    }
}
