//! What results were made from: a note beside them that lets a later run keep them.
//!
//! Everything is told by content (SHA-256, FIPS 180-4): the program, what is asked for (of a part the
//! job with all that its figure adds), each file read, each file left. If all of it is as it was,
//! making them again would give the same bytes.

use std::fmt::Write as _;
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use report::{Legend, Picture, Swatch};
use serde_json::{Map, Value, json};
use sha2::{Digest as _, Sha256};

/// The note's name, where results have a folder of their own.
pub const NOTE: &str = "made-of.json";

/// What results are made from.
pub struct Sources {
    /// What is asked for: the job's text, or what it is the image of, or a recipe of the program.
    pub asked: String,
    /// Options that the results depend on.
    pub options: Value,
    /// Files that are read.
    pub files: Vec<PathBuf>,
}

/// The content of what results are made from, told before they are made.
pub struct Stamp(Value);

impl Stamp {
    /// Reads everything that results are made from; a file that can't be read counts as one
    /// without content, and is told when they are made.
    pub fn of(sources: &Sources) -> Self {
        let files = sources.files.iter().map(|path| {
            let path = std::path::absolute(path).unwrap_or_else(|_| path.clone());
            let name = path.to_string_lossy().into_owned();
            (name, Value::from(digest_of(&path)))
        });
        Self(json!({
            "program": program(),
            "asked": hexadecimal(&Sha256::digest(&sources.asked)),
            "options": sources.options,
            "files": files.collect::<Map<_, _>>(),
        }))
    }

    /// Pictures of results that lie in a folder beside their note and were made from the same;
    /// nothing if they weren't, or if anything was changed since.
    pub fn kept(&self, folder: &Path, note: &str) -> Option<Vec<Picture>> {
        let note = std::fs::read(folder.join(note)).ok()?;
        let note: Value = serde_json::from_slice(&note).ok()?;
        // A program that can't read itself can't say that it is the same.
        if note["made_of"] != self.0 || self.0["program"].is_null() {
            return None;
        }
        for (name, digest) in note["results"].as_object()? {
            if digest_of(&folder.join(name)).as_deref() != digest.as_str() {
                return None;
            }
        }
        let pictures = note["pictures"].as_array()?.iter();
        pictures
            .map(|picture| read_picture(picture, folder))
            .collect()
    }

    /// Notes beside results what they were made from.
    ///
    /// # Errors
    /// [`files::WriteError`]; they are then made again next time.
    pub fn note(
        &self,
        folder: &Path,
        note: &str,
        results: &[String],
        pictures: &[Picture],
    ) -> Result<(), files::WriteError> {
        let results = results.iter().map(|name| {
            let digest = digest_of(&folder.join(name));
            (name.clone(), Value::from(digest))
        });
        let content = json!({
            "made_of": self.0,
            "results": results.collect::<Map<_, _>>(),
            "pictures": pictures.iter().map(picture_note).collect::<Vec<_>>(),
        });
        files::write_whole(&folder.join(note), format!("{content:#}\n").as_bytes())
    }
}

/// What the report of the figure needs of a picture, besides its file.
fn picture_note(picture: &Picture) -> Value {
    let swatch = |s: &Swatch| {
        let (form, sides) = match s.form {
            Legend::Area => ("area", 0),
            Legend::Solid => ("solid", 0),
            Legend::Dashed => ("dashed", 0),
            Legend::Double => ("double", 0),
            Legend::Polygon(sides) => ("polygon", sides),
        };
        json!({ "label": s.label, "colour": s.colour, "form": form, "sides": sides })
    };
    json!({
        "name": picture.name,
        "section": picture.section,
        "caption": picture.caption,
        "legend": picture.legend.iter().map(swatch).collect::<Vec<_>>(),
    })
}

fn read_picture(note: &Value, folder: &Path) -> Option<Picture> {
    let text = |of: &Value, key: &str| of[key].as_str().map(str::to_owned);
    let swatch = |s: &Value| {
        Some(Swatch {
            label: text(s, "label")?,
            colour: text(s, "colour")?,
            form: match s["form"].as_str()? {
                "area" => Legend::Area,
                "solid" => Legend::Solid,
                "dashed" => Legend::Dashed,
                "double" => Legend::Double,
                _ => Legend::Polygon(u32::try_from(s["sides"].as_u64()?).ok()?),
            },
        })
    };
    let name = text(note, "name")?;
    Some(Picture {
        png: std::fs::read(folder.join(format!("{name}.png"))).ok()?,
        section: text(note, "section")?,
        caption: text(note, "caption")?,
        legend: note["legend"]
            .as_array()?
            .iter()
            .map(swatch)
            .collect::<Option<_>>()?,
        name,
    })
}

/// The program's own content. Read once: while it runs its file may be replaced by another.
fn program() -> Option<&'static str> {
    static PROGRAM: OnceLock<Option<String>> = OnceLock::new();
    let read = || std::env::current_exe().ok().and_then(|p| digest_of(&p));
    PROGRAM.get_or_init(read).as_deref()
}

/// A file's content as a number in hexadecimal; `None` if it can't be read.
fn digest_of(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let mut hasher = Sha256::new();
    let mut block = vec![0; 1 << 20];
    loop {
        match file.read(&mut block).ok()? {
            0 => return Some(hexadecimal(&hasher.finalize())),
            n => hasher.update(block.get(..n).unwrap_or_default()),
        }
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, byte| {
        // Writing to a String can't fail.
        let _ = write!(out, "{byte:02x}");
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("loopwright-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        folder
    }

    /// FIPS 180-4's own example "abc" (csrc.nist.gov's SHA_All; the value is from memory).
    #[test]
    fn digests_are_those_of_the_standard() {
        let folder = folder("digest");
        std::fs::write(folder.join("abc"), "abc").unwrap();
        assert_eq!(
            digest_of(&folder.join("abc")).unwrap(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(digest_of(&folder.join("none")), None);
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn results_are_kept_until_anything_differs() {
        let folder = folder("stamp");
        let sculpt = folder.join("glove.ply");
        let result = folder.join("surface.obj");
        std::fs::write(&sculpt, "a sculpt").unwrap();
        std::fs::write(&result, "a surface").unwrap();
        let sources = |asked: &str| Sources {
            asked: asked.to_owned(),
            options: json!({ "pictures": 0 }),
            files: vec![sculpt.clone()],
        };
        let stamp = Stamp::of(&sources("a glove"));
        assert!(stamp.kept(&folder, NOTE).is_none());
        let results = ["surface.obj".to_owned()];
        stamp.note(&folder, NOTE, &results, &[]).unwrap();
        assert!(Stamp::of(&sources("a glove")).kept(&folder, NOTE).is_some());
        assert!(Stamp::of(&sources("a boot")).kept(&folder, NOTE).is_none());
        std::fs::write(&sculpt, "another").unwrap();
        assert!(Stamp::of(&sources("a glove")).kept(&folder, NOTE).is_none());
        std::fs::write(&sculpt, "a sculpt").unwrap();
        std::fs::write(&result, "a surface, changed by hand").unwrap();
        assert!(Stamp::of(&sources("a glove")).kept(&folder, NOTE).is_none());
        std::fs::remove_file(&result).unwrap();
        assert!(Stamp::of(&sources("a glove")).kept(&folder, NOTE).is_none());
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
