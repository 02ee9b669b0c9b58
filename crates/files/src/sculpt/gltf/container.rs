//! The GLB container (glTF 2.0 specification, section 4).

use super::FORMAT;
use crate::sculpt::error::{Outcome, ReadProblem};
use crate::sculpt::source::Source;

/// All bytes of a file.
pub(super) fn whole(source: &mut Source<'_>) -> Outcome<Vec<u8>> {
    let mut all = Vec::with_capacity(usize::try_from(source.length()).unwrap_or(0));
    loop {
        let piece = source.peek(1)?;
        if piece.is_empty() {
            return Ok(all);
        }
        let count = piece.len();
        all.extend_from_slice(piece);
        source.consume(count);
    }
}

/// The JSON text alone, which the specification has come first; what follows isn't read.
pub(super) fn text<'a>(source: &'a mut Source<'_>) -> Outcome<&'a [u8]> {
    const HEAD: usize = 20;
    let truncated = || ReadProblem::truncated("the GLB container");
    let size = match source.peek(HEAD)?.get(12..HEAD) {
        Some(&[a, b, c, d, b'J', b'S', b'O', b'N']) => u32::from_le_bytes([a, b, c, d]) as usize,
        _ => return Err(truncated().into()),
    };
    let end = HEAD.saturating_add(size);
    let bytes = source.peek(end)?;
    Ok(bytes.get(HEAD..end).ok_or_else(truncated)?)
}

/// The JSON text and the binary chunk.
pub(super) fn split(bytes: &[u8]) -> Outcome<(&[u8], Option<&[u8]>)> {
    let truncated = || ReadProblem::truncated("the GLB container");
    let word = |at: usize| {
        let four = bytes.get(at..at + 4).ok_or_else(truncated)?;
        Ok::<_, ReadProblem>(u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
    };
    if !bytes.starts_with(b"glTF") {
        return Err(ReadProblem::malformed(FORMAT, "a GLB file must begin with 'glTF'").into());
    }
    let version = word(4)?;
    if version != 2 {
        return Err(ReadProblem::Unsupported {
            what: format!("GLB version {version}"),
        }
        .into());
    }
    let length = word(8)? as usize;
    let bytes = bytes.get(..length).ok_or_else(truncated)?;
    let (mut json, mut binary) = (None, None);
    let mut at = 12;
    while at < bytes.len() {
        let (size, kind) = (word(at)? as usize, word(at + 4)?);
        let data = bytes
            .get(at + 8..)
            .and_then(|rest| rest.get(..size))
            .ok_or_else(truncated)?;
        match &kind.to_le_bytes() {
            b"JSON" if json.is_none() => json = Some(data),
            b"BIN\0" if binary.is_none() => binary = Some(data),
            _ => {} // clients must ignore chunks that they don't know
        }
        at += 8 + size;
    }
    match json {
        Some(json) => Ok((json, binary)),
        None => Err(ReadProblem::malformed(FORMAT, "the GLB file has no JSON chunk").into()),
    }
}
