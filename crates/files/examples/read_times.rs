//! Reads sculpts and prints how long each took: `cargo run --release -p loopwright-files
//! --example read_times -- FILE..`

use std::path::Path;
use std::time::Instant;

fn main() {
    for name in std::env::args().skip(1) {
        let start = Instant::now();
        match loopwright_files::read_sculpt(Path::new(&name)) {
            Ok(sculpt) => println!(
                "{name}: {} vertices, {} triangles in {:.3} s; {:?}",
                sculpt.positions.len(),
                sculpt.triangles.len(),
                start.elapsed().as_secs_f64(),
                sculpt.notes
            ),
            Err(error) => println!("{error}"),
        }
    }
}
