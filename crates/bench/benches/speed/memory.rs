//! Most memory that intake takes, in a process of its own (Linux only).

use std::io::Write;
use std::process::Command;

use base::Task;
use engine::intake::{self, IntakeOptions, RawTriangles};
use mesh::Vec3;

use crate::clock::line;
use crate::coat::Coat;

/// First argument of the process that measures.
pub const CHILD: &str = "intake-memory";

/// Prints what intake needs above the triangles that it is given.
pub fn intake(coat: &Coat) {
    let path = std::env::temp_dir().join(format!("loopwright-bench-{}", std::process::id()));
    std::fs::write(&path, bytes(&coat.raw)).expect("a temporary file");
    let program = std::env::current_exe().expect("this program");
    let output = Command::new(program).arg(CHILD).arg(&path).output();
    std::fs::remove_file(&path).expect("the temporary file");
    let text = String::from_utf8(output.expect("the process").stdout).expect("text");
    let numbers: Vec<f64> = text
        .split_whitespace()
        .filter_map(|w| w.parse().ok())
        .collect();
    let [before, most] = numbers[..] else {
        println!("  memory: not measured on this system");
        return;
    };
    let count = coat.raw.triangles.len() as f64;
    line("most memory, all told (VmHWM)", most / 1024.0, "MB");
    line(
        "  of it the raw triangles, and the program",
        before / 1024.0,
        "MB",
    );
    line(
        "  above those",
        (most - before) * 1024.0 / count,
        "bytes a triangle",
    );
}

/// Measures in this process: resident memory with the raw triangles, then the most while
/// they are taken in; KiB.
pub fn child(path: &str) {
    let raw = parsed(&std::fs::read(path).expect("the file"));
    let before = status("VmRSS:");
    // Forget the peak that reading the file made; see proc(5), clear_refs.
    let reset = std::fs::write("/proc/self/clear_refs", "5");
    let taken = intake::run(&raw, &IntakeOptions::default(), &Task::default()).expect("intake");
    let most = status("VmHWM:");
    drop(taken);
    if let (Ok(()), Some(before), Some(most)) = (reset, before, most) {
        println!("{before} {most}");
    }
}

fn status(key: &str) -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with(key))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

fn bytes(raw: &RawTriangles) -> Vec<u8> {
    let mut out = Vec::new();
    out.write_all(&(raw.positions.len() as u64).to_le_bytes())
        .expect("memory");
    raw.positions
        .iter()
        .flat_map(|p| p.to_array())
        .for_each(|x| out.extend(x.to_le_bytes()));
    raw.triangles
        .iter()
        .flatten()
        .for_each(|v| out.extend(v.to_le_bytes()));
    out
}

fn parsed(bytes: &[u8]) -> RawTriangles {
    let (head, rest) = bytes.split_at(8);
    let count = u64::from_le_bytes(head.try_into().expect("8 bytes")) as usize;
    let (positions, triangles) = rest.split_at(12 * count);
    let word = |b: &[u8], i: usize| [b[4 * i], b[4 * i + 1], b[4 * i + 2], b[4 * i + 3]];
    let position = |b: &[u8]| Vec3::from_array([0, 1, 2].map(|i| f32::from_le_bytes(word(b, i))));
    let triangle = |b: &[u8]| [0, 1, 2].map(|i| u32::from_le_bytes(word(b, i)));
    RawTriangles {
        positions: positions.chunks_exact(12).map(position).collect(),
        triangles: triangles.chunks_exact(12).map(triangle).collect(),
        parts: Vec::new(),
    }
}
