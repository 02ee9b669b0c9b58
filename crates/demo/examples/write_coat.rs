//! Writes the demo coat as a binary PLY, its guides as JSON beside it:
//! `cargo run -p loopwright-demo --example write_coat -- OUT.ply [TRIANGLES] [SEED]`

use std::fmt::Write as _;
use std::path::Path;

use base::Task;
use loopwright_demo::{DemoOptions, DemoSculpt, coat};
use mesh::TriMesh;

fn main() -> std::io::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |i: usize, or: u64| arguments.get(i).and_then(|a| a.parse().ok()).unwrap_or(or);
    let out = arguments.first().map_or("coat.ply", String::as_str);
    let options = DemoOptions {
        triangles: number(1, 1_000_000) as usize,
        seed: number(2, 0),
    };
    let begin = std::time::Instant::now();
    let Ok(sculpt) = coat(&options, &Task::default()) else {
        return Ok(());
    };
    println!(
        "{} triangles in {:.2?}",
        sculpt.mesh.triangles.len(),
        begin.elapsed()
    );
    write_ply(Path::new(out), &sculpt.mesh)?;
    let stem = out.trim_end_matches(".ply");
    std::fs::write(format!("{stem}.guides.json"), guides_json(&sculpt))?;
    for (name, mesh) in &sculpt.under {
        write_ply(Path::new(&format!("{stem} {name}.ply")), mesh)?;
    }
    Ok(())
}

fn write_ply(path: &Path, mesh: &TriMesh) -> std::io::Result<()> {
    let mut bytes = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n",
        mesh.positions.len(),
        mesh.triangles.len()
    )
    .into_bytes();
    for p in &mesh.positions {
        p.to_array()
            .iter()
            .for_each(|c| bytes.extend(c.to_le_bytes()));
    }
    for t in &mesh.triangles {
        bytes.push(3);
        t.iter().for_each(|v| bytes.extend(v.to_le_bytes()));
    }
    std::fs::write(path, bytes)
}

fn guides_json(sculpt: &DemoSculpt) -> String {
    let mut text = String::from("{\"symmetry\": \"x\", \"guides\": [");
    for (i, guide) in sculpt.guides.iter().enumerate() {
        let points: Vec<String> = guide
            .points
            .iter()
            .map(|p| format!("[{}, {}, {}]", p.x, p.y, p.z))
            .collect();
        let count = guide.count.map_or("null".to_owned(), |c| c.to_string());
        let comma = if i > 0 { "," } else { "" };
        let _ = write!(
            text,
            "{comma}\n{{\"name\": \"{}\", \"kind\": \"{}\", \"closed\": {}, \"count\": {count}, \"points\": [{}]}}",
            guide.name,
            guide.kind,
            guide.closed,
            points.join(", ")
        );
    }
    text.push_str("\n], \"notes\": \"\"}\n");
    text
}
