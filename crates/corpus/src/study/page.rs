//! The page and its pictures on disk.

use std::path::{Path, PathBuf};

use super::Picture;

/// Stands before the generated part.
const BEGIN: &str = "<!-- study: begin -->";
/// Stands behind it.
const END: &str = "<!-- study: end -->";
/// The page's name.
const PAGE: &str = "quality.md";
/// Name of the pictures' folder beside the page.
pub const FOLDER: &str = "quality";

/// Why no page was written.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// The page is there without its marks.
    #[error(
        "{page} has no lines {BEGIN} and {END} in this order: put them around the part that may be replaced"
    )]
    Marks {
        /// The page.
        page: PathBuf,
    },
    /// Reading or writing.
    #[error("{path}: {source}; see to it that the folder is there and can be written")]
    Disk {
        /// What was read or written.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
}

/// The page with its generated part replaced, or a new page.
///
/// # Errors
/// Nothing but that `old` has no marks.
fn replaced(old: Option<&str>, generated: &str) -> Option<String> {
    let Some(old) = old else {
        return Some(format!(
            "# Quality\n\n{BEGIN}\n\n{generated}\n{END}\n\n## What is weak and why\n"
        ));
    };
    let (before, rest) = old.split_once(BEGIN)?;
    let (_, after) = rest.split_once(END)?;
    Some(format!("{before}{BEGIN}\n\n{generated}\n{END}{after}"))
}

/// Writes page and pictures into a folder; of an old page everything outside the marks stays.
///
/// # Errors
/// [`PageError`].
pub fn write(folder: &Path, generated: &str, pictures: &[Picture]) -> Result<(), PageError> {
    let page = folder.join(PAGE);
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| PageError::Disk { path, source }
    };
    let old = match std::fs::read_to_string(&page) {
        Ok(text) => Some(text),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => None,
        Err(e) => return Err(failed(&page)(e)),
    };
    let Some(text) = replaced(old.as_deref(), generated) else {
        return Err(PageError::Marks { page });
    };
    let beside = folder.join(FOLDER);
    std::fs::create_dir_all(&beside).map_err(failed(&beside))?;
    for (name, png) in pictures {
        let file = beside.join(name);
        std::fs::write(&file, png).map_err(failed(&file))?;
    }
    std::fs::write(&page, text).map_err(failed(&page))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_by_hand_stays() {
        let new = replaced(None, "one\n").unwrap();
        let edited = format!("by hand\n{new}by hand too\n");
        let again = replaced(Some(&edited), "two\n").unwrap();
        assert_eq!(again, edited.replace("one", "two"));
        assert!(replaced(Some("no marks"), "three").is_none());
        let swapped = format!("{END} {BEGIN}");
        assert!(replaced(Some(&swapped), "three").is_none());
    }
}
