//! Files that appear whole or not at all.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Component, Path, PathBuf};

/// A file couldn't be written; what was there before still is.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The path doesn't name a file.
    #[error("'{}' doesn't name a file to write. Give a file name", .path.display())]
    Name {
        /// The path.
        path: PathBuf,
    },
    /// Two files of one name.
    #[error("the file '{name}' would be written twice. Give each file a name of its own")]
    Twice {
        /// The name.
        name: String,
    },
    /// The folder can't be made or written to.
    #[error("can't write in the folder '{}': {source}. Check that it exists, its permissions and the free space", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// The bytes can't be written.
    #[error("can't write '{}': {source}. Check the permissions and the free space", .path.display())]
    Write {
        /// The file that was meant.
        path: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
}

/// Writes a file whole: to a temporary file in the same folder, flushed to the disk, then
/// renamed. On an error the old file, if any, stays and the temporary one goes. An old
/// file's permissions are kept; a link is followed.
///
/// # Errors
/// [`WriteError`] with the file and what the operating system says.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let temporary = Temporary::write(&path, bytes)?;
    temporary.put_in_place()?;
    sync_folder(&path);
    Ok(())
}

/// Writes several files into a folder, which is made if need be: all of them, or, on an
/// error, none, with old files of these names put back. (A power cut between two renames can
/// leave some old and some new files, each whole.)
///
/// # Errors
/// [`WriteError`]; also for a name that isn't a plain file name, or given twice.
pub fn write_all_or_none(folder: &Path, files: &[(&str, &[u8])]) -> Result<(), WriteError> {
    let mut names = BTreeSet::new();
    for (name, _) in files {
        let plain = matches!(Path::new(name).components().collect::<Vec<_>>()[..], [Component::Normal(n)] if n == *name);
        if !plain {
            return Err(WriteError::Name {
                path: folder.join(name),
            });
        }
        if !names.insert(*name) {
            return Err(WriteError::Twice {
                name: (*name).to_owned(),
            });
        }
    }
    fs::create_dir_all(folder).map_err(|source| WriteError::Folder {
        folder: folder.to_owned(),
        source,
    })?;
    // The slow and likely failures come first, while nothing has changed.
    let temporaries = files
        .iter()
        .map(|(name, bytes)| Temporary::write(&folder.join(name), bytes));
    let temporaries: Vec<Temporary> = temporaries.collect::<Result<_, _>>()?;
    let mut placed: Vec<Placed> = Vec::new();
    for temporary in temporaries {
        match temporary.swap_in() {
            Ok(done) => placed.push(done),
            Err(error) => {
                placed.into_iter().rev().for_each(Placed::undo);
                return Err(error);
            }
        }
    }
    placed.into_iter().for_each(Placed::keep);
    sync_folder(&folder.join("_"));
    Ok(())
}

/// Finds out whether files can be written into a folder, before long work: a folder that
/// doesn't exist must be one that can be made. Leaves nothing behind; what holds now can
/// change until the files are written.
///
/// # Errors
/// [`WriteError::Folder`] with what the operating system says.
pub fn check_writable(folder: &Path) -> Result<(), WriteError> {
    let here = Path::new(".");
    let there = folder.ancestors().find(|f| f.exists()).unwrap_or(here);
    let there = if there.as_os_str().is_empty() {
        here
    } else {
        there
    };
    if !there.is_dir() {
        let kind = io::ErrorKind::NotADirectory;
        return Err(WriteError::Folder {
            folder: folder.to_owned(),
            source: io::Error::new(kind, format!("'{}' isn't a folder", there.display())),
        });
    }
    let (at, _) = create_beside(&there.join("writable"))?;
    fs::remove_file(&at).map_err(|source| WriteError::Write { path: at, source })
}

/// A written file that isn't in its place yet; removed when dropped.
struct Temporary {
    at: PathBuf,
    goal: PathBuf,
    in_place: bool,
}

impl Temporary {
    fn write(goal: &Path, bytes: &[u8]) -> Result<Self, WriteError> {
        if goal.file_name().is_none() || goal.is_dir() {
            return Err(WriteError::Name {
                path: goal.to_owned(),
            });
        }
        let (at, mut file) = create_beside(goal)?;
        let temporary = Self {
            at,
            goal: goal.to_owned(),
            in_place: false,
        };
        let failed = |source| WriteError::Write {
            path: goal.to_owned(),
            source,
        };
        if let Ok(old) = fs::metadata(goal) {
            file.set_permissions(old.permissions()).map_err(failed)?;
        }
        file.write_all(bytes)
            .and_then(|()| file.sync_all())
            .map_err(failed)?;
        Ok(temporary)
    }

    fn put_in_place(mut self) -> Result<(), WriteError> {
        let renamed = fs::rename(&self.at, &self.goal);
        self.in_place = renamed.is_ok();
        renamed.map_err(|source| WriteError::Write {
            path: self.goal.clone(),
            source,
        })
    }

    /// Puts the file in place with the old one set aside.
    fn swap_in(self) -> Result<Placed, WriteError> {
        let goal = self.goal.clone();
        let failed = |source| WriteError::Write {
            path: goal.clone(),
            source,
        };
        let aside = match fs::symlink_metadata(&goal) {
            Ok(_) => {
                let (aside, file) = create_beside(&goal)?;
                drop(file);
                fs::rename(&goal, &aside).map_err(|error| {
                    let _ = fs::remove_file(&aside);
                    failed(error)
                })?;
                Some(aside)
            }
            Err(_) => None,
        };
        let placed = Placed {
            goal: self.goal.clone(),
            aside,
        };
        match self.put_in_place() {
            Ok(()) => Ok(placed),
            Err(error) => {
                placed.undo();
                Err(error)
            }
        }
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        if !self.in_place {
            // Nothing to tell: the error that led here is on its way.
            let _ = fs::remove_file(&self.at);
        }
    }
}

/// A new file in its place, and the old one set aside.
struct Placed {
    goal: PathBuf,
    aside: Option<PathBuf>,
}

impl Placed {
    /// Best effort: the first error is the one to report.
    fn undo(self) {
        let _ = match self.aside {
            Some(aside) => fs::rename(aside, self.goal),
            None => fs::remove_file(self.goal),
        };
    }

    fn keep(self) {
        if let Some(aside) = self.aside {
            let _ = fs::remove_file(aside);
        }
    }
}

/// A new, empty file with a name of its own beside another.
fn create_beside(goal: &Path) -> Result<(PathBuf, File), WriteError> {
    const TRIES: u32 = 100;
    let folder = goal
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let failed = |source| WriteError::Folder {
        folder: folder.to_owned(),
        source,
    };
    for number in 0..TRIES {
        let mut name = OsString::from(".");
        name.push(goal.file_name().unwrap_or_default());
        name.push(format!(".{}-{number}.tmp", std::process::id()));
        let at = folder.join(name);
        match OpenOptions::new().write(true).create_new(true).open(&at) {
            Ok(file) => return Ok((at, file)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(failed(error)),
        }
    }
    Err(failed(io::Error::new(
        io::ErrorKind::AlreadyExists,
        "too many temporary files are left there",
    )))
}

/// Flushes the rename itself, where the system can; the files are whole without it.
fn sync_folder(file: &Path) {
    let folder = file
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An empty folder that is removed in the end.
    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path =
                std::env::temp_dir().join(format!("loopwright-{name}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&path);
            fs::create_dir_all(&path).unwrap();
            Self(path)
        }

        fn names(&self) -> Vec<String> {
            let entries = fs::read_dir(&self.0).unwrap();
            let mut names: Vec<String> = entries
                .map(|e| e.unwrap().file_name().into_string().unwrap())
                .collect();
            names.sort();
            names
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn files_are_replaced_whole() {
        let folder = Folder::new("whole");
        let path = folder.0.join("coat.obj");
        write_whole(&path, b"one").unwrap();
        write_whole(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(folder.names(), ["coat.obj"]);
    }

    #[cfg(unix)]
    #[test]
    fn links_and_permissions_stay() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = Folder::new("links");
        let (path, link) = (folder.0.join("coat.toml"), folder.0.join("link.toml"));
        fs::write(&path, "one").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        std::os::unix::fs::symlink(&path, &link).unwrap();
        write_whole(&link, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(
            fs::metadata(&path).unwrap().permissions().mode() & 0o777,
            0o640
        );
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    }

    #[test]
    fn failures_leave_nothing_behind() {
        let folder = Folder::new("failures");
        let gone = folder.0.join("no such folder/coat.obj");
        assert!(matches!(
            write_whole(&gone, b""),
            Err(WriteError::Folder { .. })
        ));
        assert!(matches!(
            write_whole(&folder.0, b""),
            Err(WriteError::Name { .. })
        ));
        assert!(matches!(
            write_whole(Path::new(""), b""),
            Err(WriteError::Name { .. })
        ));
        assert!(folder.names().is_empty());
    }

    #[test]
    fn several_files_come_all_or_none() {
        let folder = Folder::new("several");
        let inner = folder.0.join("out");
        write_all_or_none(&inner, &[("a.obj", b"one"), ("b.glb", b"two")]).unwrap();
        write_all_or_none(&inner, &[("a.obj", b"three"), ("c.json", b"four")]).unwrap();
        let out = Folder(inner.clone());
        assert_eq!(out.names(), ["a.obj", "b.glb", "c.json"]);
        assert_eq!(fs::read(inner.join("a.obj")).unwrap(), b"three");

        // The second file can't be written: the first must stay as it was.
        fs::create_dir(inner.join("wall")).unwrap();
        let failed = write_all_or_none(
            &inner,
            &[("a.obj", b"five"), ("d.obj", b""), ("wall", b"six")],
        );
        assert!(matches!(failed, Err(WriteError::Name { .. })));
        assert_eq!(fs::read(inner.join("a.obj")).unwrap(), b"three");
        assert_eq!(out.names(), ["a.obj", "b.glb", "c.json", "wall"]);
    }

    #[test]
    fn a_failure_between_renames_puts_the_old_files_back() {
        let folder = Folder::new("undo");
        let (a, b) = (folder.0.join("a"), folder.0.join("b"));
        fs::write(&a, "old").unwrap();
        let first = Temporary::write(&a, b"new").unwrap().swap_in().unwrap();
        assert_eq!(fs::read(&a).unwrap(), b"new");
        let second = Temporary::write(&b, b"new").unwrap();
        fs::remove_file(&second.at).unwrap(); // so that the rename fails
        assert!(matches!(second.swap_in(), Err(WriteError::Write { .. })));
        first.undo();
        assert_eq!(fs::read(&a).unwrap(), b"old");
        assert_eq!(folder.names(), ["a"]);
    }

    #[test]
    fn whether_a_folder_can_be_written_is_known_before() {
        let folder = Folder::new("writable");
        check_writable(&folder.0).unwrap();
        check_writable(&folder.0.join("new/newer")).unwrap();
        check_writable(Path::new("")).unwrap();
        assert!(folder.names().is_empty());
        let file = folder.0.join("a");
        fs::write(&file, "old").unwrap();
        for wrong in [file.clone(), file.join("new")] {
            let failed = check_writable(&wrong);
            assert!(matches!(failed, Err(WriteError::Folder { .. })));
        }
        assert_eq!(folder.names(), ["a"]);
    }

    #[test]
    fn names_must_be_plain_and_different() {
        let folder = Folder::new("names");
        for name in ["", ".", "..", "a/b", "/etc/passwd", "a/"] {
            let failed = write_all_or_none(&folder.0, &[(name, b"x")]);
            assert!(matches!(failed, Err(WriteError::Name { .. })), "{name}");
        }
        let twice = write_all_or_none(&folder.0, &[("a", b""), ("a", b"")]);
        assert!(matches!(twice, Err(WriteError::Twice { .. })));
        assert!(folder.names().is_empty());
    }
}
