//! Buffers: the binary chunk, data URIs (RFC 2397) and files beside the glTF file.

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use gltf::json;

use super::FORMAT;
use super::container;
use crate::sculpt::error::{Outcome, ReadProblem, Spot, shortened};
use crate::sculpt::source::Source;

/// Buffers by number, each read when it is first asked for.
pub(super) struct Buffers<'a> {
    root: &'a json::Root,
    chunk: Option<&'a [u8]>,
    folder: PathBuf,
    loaded: Vec<Option<Cow<'a, [u8]>>>,
}

impl<'a> Buffers<'a> {
    pub fn new(root: &'a json::Root, chunk: Option<&'a [u8]>, file: &Path) -> Self {
        let folder = file.parent().map(Path::to_owned).unwrap_or_default();
        Self {
            root,
            chunk,
            folder,
            loaded: vec![None; root.buffers.len()],
        }
    }

    /// The bytes of a buffer, of at least the announced length.
    pub fn get(&mut self, number: usize) -> Outcome<&[u8]> {
        let spot = || Spot::item("buffer", number as u64);
        let Some(buffer) = self.root.buffers.get(number) else {
            return Err(ReadProblem::malformed(FORMAT, "the buffer doesn't exist").at(spot()));
        };
        if self.loaded[number].is_none() {
            let bytes = self
                .load(buffer, number)
                .map_err(|problem| problem.at(spot()))?;
            let announced = buffer.byte_length.0;
            if (bytes.len() as u64) < announced {
                let room = bytes.len() as u64;
                return Err(ReadProblem::TooMany {
                    what: "bytes".to_owned(),
                    announced,
                    room,
                }
                .at(spot()));
            }
            self.loaded[number] = Some(bytes);
        }
        Ok(self.loaded[number].as_deref().unwrap_or_default())
    }

    fn load(&self, buffer: &json::Buffer, number: usize) -> Result<Cow<'a, [u8]>, ReadProblem> {
        match (&buffer.uri, self.chunk) {
            (None, Some(chunk)) if number == 0 => Ok(Cow::Borrowed(chunk)),
            (None, _) => Err(ReadProblem::malformed(
                FORMAT,
                "the buffer has neither a URI nor a binary chunk",
            )),
            (Some(uri), _) => {
                let refused = |reason: String| ReadProblem::Buffer {
                    uri: shortened(uri.as_bytes()),
                    reason,
                };
                match uri.strip_prefix("data:") {
                    Some(data) => data_uri(data).map(Cow::Owned).map_err(refused),
                    None => self.file(uri).map(Cow::Owned).map_err(refused),
                }
            }
        }
    }

    /// Paths of the files that hold buffers, as far as their names can be read.
    pub fn files(&self) -> Vec<PathBuf> {
        let uris = self.root.buffers.iter().filter_map(|b| b.uri.as_deref());
        uris.filter(|uri| !uri.starts_with("data:"))
            .filter_map(|uri| self.path(uri).ok())
            .collect()
    }

    fn path(&self, uri: &str) -> Result<PathBuf, String> {
        let name = percent_decoded(uri.as_bytes())?;
        let name = String::from_utf8(name).map_err(|_| "its name isn't UTF-8".to_owned())?;
        let scheme = name.split_once(':').map(|(scheme, _)| scheme);
        if scheme.is_some_and(|s| {
            s.chars()
                .all(|c| c.is_ascii_alphanumeric() || "+-.".contains(c))
        }) {
            return Err("only files beside the glTF file are read".to_owned());
        }
        if Path::new(&name).has_root() {
            return Err("its path must be relative to the glTF file".to_owned());
        }
        Ok(self.folder.join(name))
    }

    fn file(&self, uri: &str) -> Result<Vec<u8>, String> {
        let path = self.path(uri)?;
        let read = || {
            let mut source = Source::of_file(&path)?;
            container::whole(&mut source)
        };
        read().map_err(|fault| fault.problem.to_string())
    }
}

/// What follows `data:`.
fn data_uri(data: &str) -> Result<Vec<u8>, String> {
    let (kind, content) = data.split_once(',').ok_or("the data URI has no comma")?;
    let content = percent_decoded(content.as_bytes())?;
    if kind.ends_with(";base64") {
        base64(&content)
    } else {
        Ok(content)
    }
}

fn percent_decoded(text: &[u8]) -> Result<Vec<u8>, String> {
    let digit = |at: usize| text.get(at).and_then(|b| char::from(*b).to_digit(16));
    let mut out = Vec::with_capacity(text.len());
    let mut at = 0;
    while at < text.len() {
        if text[at] != b'%' {
            out.push(text[at]);
            at += 1;
            continue;
        }
        let (Some(high), Some(low)) = (digit(at + 1), digit(at + 2)) else {
            return Err("a % in it isn't followed by two hexadecimal digits".to_owned());
        };
        out.push((16 * high + low) as u8);
        at += 3;
    }
    Ok(out)
}

/// Base 64 with the standard alphabet (RFC 4648, section 4).
fn base64(text: &[u8]) -> Result<Vec<u8>, String> {
    let text = text
        .strip_suffix(b"==")
        .or_else(|| text.strip_suffix(b"="))
        .unwrap_or(text);
    let mut out = Vec::with_capacity(text.len() / 4 * 3 + 2);
    let (mut bits, mut held) = (0u32, 0u32);
    for &byte in text {
        let six = match byte {
            b'A'..=b'Z' => byte - b'A',
            b'a'..=b'z' => byte - b'a' + 26,
            b'0'..=b'9' => byte - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => return Err("its base 64 has a character that doesn't belong there".to_owned()),
        };
        bits = (bits << 6) | u32::from(six);
        held += 6;
        if held >= 8 {
            held -= 8;
            out.push((bits >> held) as u8);
            bits &= (1 << held) - 1;
        }
    }
    if held >= 6 {
        return Err("its base 64 ends too early".to_owned());
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test vectors of RFC 4648, section 10.
    #[test]
    fn base64_decodes_the_vectors_of_rfc_4648() {
        let vectors = [
            ("", ""),
            ("Zg==", "f"),
            ("Zm8=", "fo"),
            ("Zm9v", "foo"),
            ("Zm9vYg==", "foob"),
            ("Zm9vYmE=", "fooba"),
            ("Zm9vYmFy", "foobar"),
        ];
        for (coded, plain) in vectors {
            assert_eq!(base64(coded.as_bytes()).unwrap(), plain.as_bytes());
        }
        assert!(base64(b"Zm9*").is_err());
        assert!(base64(b"Zm9vY").is_err());
    }

    #[test]
    fn data_uris_come_coded_or_plain() {
        assert_eq!(
            data_uri("application/octet-stream;base64,Zm9v").unwrap(),
            b"foo"
        );
        assert_eq!(data_uri(",a%20b").unwrap(), b"a b");
        assert!(data_uri("no comma").is_err());
        assert!(data_uri(",%4").is_err());
    }
}
