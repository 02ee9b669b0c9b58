//! Noticing that other programs changed the job or the files that it names.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hasher};
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use files::{FigureFile, JobError, JobFile, JobOrSet, PartFrom};

use super::Document;

/// What changed outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Changed {
    /// The job file.
    Job,
    /// The sculpt, or a file that is read with it.
    Sculpt,
    /// A file of held quads.
    Hold,
    /// A layer, or a file that is read with it.
    Layer,
}

/// What tells cheaply that a file is being changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stamp {
    length: u64,
    modified: Option<SystemTime>,
}

impl Stamp {
    /// Of a file; `None` if it isn't there.
    fn of(path: &Path) -> Option<Self> {
        let about = std::fs::metadata(path).ok().filter(|m| m.is_file())?;
        Some(Self {
            length: about.len(),
            modified: about.modified().ok(),
        })
    }
}

/// How a file was when it was read.
#[derive(Clone, Copy, Debug)]
struct Seen {
    stamp: Stamp,
    /// Of the whole content.
    hash: u64,
    /// Whether it had only just been written: another write at once may leave the same time, and
    /// the same length.
    just_written: bool,
}

/// Times of files are told apart that lie further apart than this: a system's clock for them ticks
/// some hundred times a second (common practice, no source).
const TICK: Duration = Duration::from_millis(100);

#[derive(Clone, Debug)]
struct File {
    what: Changed,
    /// `None` if it couldn't be read.
    seen: Option<Seen>,
    /// Its stamp at the last look, where that isn't the one of `seen`.
    moving: Option<Stamp>,
}

impl File {
    /// Whether the content may be another than was seen.
    fn may_differ(&self, now: Stamp) -> bool {
        let same = |seen: Seen| seen.stamp == now && now.modified.is_some() && !seen.just_written;
        !self.seen.is_some_and(same)
    }

    /// Reads the file; whether its content is another than was seen.
    fn reread(&mut self, path: &Path, stamp: Stamp) -> bool {
        self.moving = None;
        let age = stamp.modified.and_then(|at| at.elapsed().ok());
        let just_written = age.is_some_and(|age| age < TICK);
        let Ok(hash) = hash(path) else {
            return false;
        };
        let was = self.seen.replace(Seen {
            stamp,
            hash,
            just_written,
        });
        was.is_none_or(|was| (was.stamp.length, was.hash) != (stamp.length, hash))
    }
}

/// Files that are watched, as they were when last taken note of.
#[derive(Clone, Debug, Default)]
pub struct Watched {
    files: BTreeMap<PathBuf, File>,
}

impl Watched {
    /// Takes note of the files of a document as they are.
    pub fn of(document: &Document) -> Self {
        let mut watched = Self::default();
        let file = document.file();
        watched.note(file.path(), Changed::Job);
        watched.note_named(file);
        watched
    }

    /// Reads a job file or a set file, and takes note of it and of the files that it names, of a set
    /// its jobs and the files that these name, all before the content that is used of them is read: a
    /// change that the reader misses is found by the next look. Of a file that can't be read, only the
    /// file itself is watched.
    pub fn read(path: &Path) -> (Self, Result<JobOrSet, JobError>) {
        let mut watched = Self::default();
        watched.note(path, Changed::Job);
        let file = JobOrSet::read(path);
        match &file {
            Ok(JobOrSet::Job(file)) => watched.note_named(file),
            Ok(JobOrSet::Set(figure)) => watched.note_parts(figure),
            Err(_) => {}
        }
        (watched, file)
    }

    /// Goes on with the job as it is now: takes note of files that it names and that weren't watched,
    /// and of the job file if it is another. That this program wrote the job file is told as a change:
    /// see [`Document::is_as_written`].
    pub fn follow(&mut self, file: &JobFile) {
        let job = watched_path(file.path());
        self.files
            .retain(|path, file| file.what != Changed::Job || *path == job);
        let mut fresh = named(file);
        fresh.push((job, Changed::Job));
        fresh.retain(|(path, _)| !self.files.contains_key(path));
        for (path, what) in &fresh {
            self.note(path, *what);
        }
        if fresh
            .iter()
            .any(|(_, what)| matches!(what, Changed::Sculpt | Changed::Layer))
        {
            self.note_read_with(file);
        }
    }

    fn note_parts(&mut self, figure: &FigureFile) {
        for part in &figure.spec().parts {
            let PartFrom::Job(job) = &part.from else {
                continue;
            };
            let job = figure.job_path(job);
            self.note(&job, Changed::Job);
            // What is wrong with it is told by whoever runs it.
            if let Ok(file) = JobFile::read(&job) {
                self.note_named(&file);
            }
        }
    }

    fn note_named(&mut self, file: &JobFile) {
        for (path, what) in named(file) {
            self.note(&path, what);
        }
        self.note_read_with(file);
    }

    /// Sculpt and layers are noted by now: if they come to name other files, that is a change.
    fn note_read_with(&mut self, file: &JobFile) {
        for (path, what) in named(file) {
            if what != Changed::Hold {
                for path in files::read_with_sculpt(&path) {
                    self.note(&path, what);
                }
            }
        }
    }

    fn note(&mut self, path: &Path, what: Changed) {
        let mut file = File {
            what,
            seen: None,
            moving: None,
        };
        if let Some(stamp) = Stamp::of(path) {
            file.reread(path, stamp);
        }
        self.files.insert(watched_path(path), file);
    }

    /// What changed in content since it was last taken note of, and takes note of it. Files whose
    /// length and time are the same aren't read. A file that is gone isn't a change: programs that
    /// write by renaming make it come back.
    pub fn look(&mut self) -> Vec<Changed> {
        let mut changed = Vec::new();
        for (path, file) in &mut self.files {
            if let Some(now) = Stamp::of(path)
                && file.may_differ(now)
                && file.reread(path, now)
            {
                changed.push(file.what);
            }
        }
        changed.sort_unstable();
        changed.dedup();
        changed
    }

    /// As [`Watched::look`], once all files stand still: nothing while one has another length or time
    /// than at the look before, so that files aren't read that another program is writing.
    pub fn look_at_rest(&mut self) -> Vec<Changed> {
        let mut moves = false;
        for (path, file) in &mut self.files {
            let now = Stamp::of(path).filter(|now| file.may_differ(*now));
            moves |= now.is_some() && now != file.moving;
            file.moving = now;
        }
        if moves { Vec::new() } else { self.look() }
    }
}

/// The files that a job names.
fn named(file: &JobFile) -> Vec<(PathBuf, Changed)> {
    let holds = file.spec().holds.iter();
    let holds = holds.map(|hold| (file.hold_path(hold), Changed::Hold));
    let layers = file.spec().layers.iter();
    let layers = layers.map(|layer| (file.layer_path(layer), Changed::Layer));
    let sculpt = (file.sculpt_path(), Changed::Sculpt);
    // One file may be both: what is listed last is what is told of it.
    let all = layers.chain(holds).chain([sculpt]);
    all.map(|(path, what)| (watched_path(&path), what))
        .collect()
}

/// A file's path as it is watched: the same whether the job names it from its folder or in full.
fn watched_path(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}

fn hash(path: &Path) -> std::io::Result<u64> {
    let mut file = std::fs::File::open(path)?;
    let mut hasher = DefaultHasher::new();
    let mut block = vec![0; 1 << 20];
    loop {
        match file.read(&mut block)? {
            0 => return Ok(hasher.finish()),
            // A stream's hash doesn't depend on how it comes in pieces.
            n => hasher.write(block.get(..n).unwrap_or_default()),
        }
    }
}
