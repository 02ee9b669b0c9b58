//! The known word that a mistyped one is nearest to.

/// The nearest of some words, if it is near enough to be what was meant: at most a
/// third of its letters away. The first wins a tie.
pub(crate) fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let typed: Vec<char> = word.to_lowercase().chars().take(64).collect();
    known
        .map(|k| (distance(&typed, &k.chars().collect::<Vec<_>>()), k))
        .filter(|(d, k)| *d <= (k.chars().count() / 3).max(1))
        .min_by_key(|(d, _)| *d)
        .map(|(_, k)| k.to_owned())
}

/// Letters to insert, drop, replace or swap with their neighbour: optimal string
/// alignment (Damerau 1964; from memory).
fn distance(a: &[char], b: &[char]) -> usize {
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=b.len()).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            let mut least = (rows[i - 1][j] + 1)
                .min(rows[i][j - 1] + 1)
                .min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = least;
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_count_letters() {
        let of = |a: &str, b: &str| {
            let [a, b] = [a, b].map(|s| s.chars().collect::<Vec<_>>());
            distance(&a, &b)
        };
        // Worked examples: kitten/sitting is 3 in most textbooks; ca/abc is 3 under alignment.
        assert_eq!(of("kitten", "sitting"), 3);
        assert_eq!(of("ca", "abc"), 3);
        assert_eq!(of("opneing", "opening"), 1);
        assert_eq!(of("", "ring"), 4);
    }

    #[test]
    fn only_near_words_are_offered() {
        let known = || ["ring", "line", "opening"].into_iter();
        assert_eq!(nearest("Openig", known()).as_deref(), Some("opening"));
        assert_eq!(nearest("rign", known()).as_deref(), Some("ring"));
        assert_eq!(nearest("button", known()), None);
    }
}
