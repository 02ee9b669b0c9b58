//! Hard and soft edges through the binary: both files are read back, and say the same.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use serde_json::Value;

use crate::support::{Folder, Sleeve, loopwright, word};

/// A corner: its place and its normal, as bits of the numbers that a GLB file holds.
type Corner = ([u32; 3], [u32; 3]);

struct Read {
    /// Corners of each face with its smoothing group, and its vertices.
    faces: Vec<(u32, Vec<usize>, Vec<Corner>)>,
}

fn bits(words: &[&str]) -> [u32; 3] {
    let each = [0, 1, 2].map(|i| words[i].parse::<f64>().unwrap() as f32 + 0.0);
    each.map(f32::to_bits)
}

fn obj(text: &str) -> Read {
    let (mut places, mut normals, mut faces) = (Vec::new(), Vec::new(), Vec::new());
    let mut group = 0;
    for line in text.lines() {
        let words: Vec<&str> = line.split(' ').collect();
        match words[0] {
            "v" => places.push(bits(&words[1..])),
            "vn" => normals.push(bits(&words[1..])),
            "s" => group = words[1].parse().unwrap(),
            "f" => {
                let ends = words[1..].iter().map(|w| w.split_once("//").unwrap());
                let ends: Vec<[usize; 2]> = ends
                    .map(|(v, n)| [v, n].map(|w| w.parse::<usize>().unwrap() - 1))
                    .collect();
                let corners = ends.iter().map(|[v, n]| (places[*v], normals[*n]));
                faces.push((
                    group,
                    ends.iter().map(|e| e[0]).collect(),
                    corners.collect(),
                ));
            }
            _ => {}
        }
    }
    Read { faces }
}

/// Corners of a GLB file with one buffer, places first and normals behind them (glTF 2.0, sections
/// 3.6 and 4.4; from memory).
fn glb(bytes: &[u8]) -> Vec<Corner> {
    let number = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    let length = number(12) as usize;
    let root: Value = serde_json::from_slice(&bytes[20..20 + length]).unwrap();
    let data = 20 + length + 8;
    let count = root["accessors"][0]["count"].as_u64().unwrap() as usize;
    assert_eq!(root["accessors"][1]["count"], root["accessors"][0]["count"]);
    let start = |view: usize| {
        data + root["bufferViews"][view]["byteOffset"]
            .as_u64()
            .unwrap_or(0) as usize
    };
    let three = |from: usize, k: usize| {
        [0, 1, 2].map(|i| (f32::from_bits(number(from + 12 * k + 4 * i)) + 0.0).to_bits())
    };
    (0..count)
        .map(|k| (three(start(0), k), three(start(1), k)))
        .collect()
}

/// The sleeve's files with more said in its job; the finding of hard edges.
fn run(more: &str, guide: &str) -> (Read, Vec<Corner>, Value) {
    let folder = Folder::new();
    let sleeve = Sleeve::new();
    sleeve.put(&folder);
    let text = sleeve
        .text()
        .replace("name = \"elbow\"\n", &format!("name = \"elbow\"\n{guide}"));
    let job = folder.write("sleeve.toml", text + more);
    let out = folder.join("out");
    let done = loopwright(&["run", word(&job), "--out", word(&out), "--pictures", "0"]);
    assert_eq!(done.status, Some(0), "{done:?}");
    let read = obj(&fs::read_to_string(out.join("surface.obj")).unwrap());
    let corners = glb(&fs::read(out.join("surface.glb")).unwrap());
    let findings = fs::read(out.join("findings.json")).unwrap();
    let findings: Value = serde_json::from_slice(&findings).unwrap();
    let all = findings["findings"].as_array().unwrap();
    let of = |code: &str| all.iter().find(|f| f["code"] == code).unwrap().clone();
    assert_eq!(of("faces-outward")["level"], "pass");
    (read, corners, of("hard-edges"))
}

/// Edges whose faces don't share both normals, and groups.
fn hard(read: &Read) -> (usize, usize) {
    let mut at: BTreeMap<[usize; 2], Vec<[Corner; 2]>> = BTreeMap::new();
    for (_, vertices, corners) in &read.faces {
        for i in 0..4 {
            let j = (i + 1) % 4;
            let (mut ends, mut both) = ([vertices[i], vertices[j]], [corners[i], corners[j]]);
            if ends[0] > ends[1] {
                ends.reverse();
                both.reverse();
            }
            at.entry(ends).or_default().push(both);
        }
    }
    let split = at
        .values()
        .filter(|sides| sides.len() == 2 && sides[0] != sides[1]);
    let groups: BTreeSet<u32> = read.faces.iter().map(|f| f.0).collect();
    (split.count(), groups.len())
}

#[test]
fn edges_are_soft_but_those_of_guides_and_trims_that_are_hard() {
    let corners_of = |read: &Read| -> BTreeSet<Corner> {
        read.faces
            .iter()
            .flat_map(|f| f.2.iter().copied())
            .collect()
    };
    // Nothing turns by more than 60°: all share.
    let (read, corners, told) = run("", "");
    assert_eq!(hard(&read), (0, 1));
    assert_eq!(told["value"], 0.0);
    assert_eq!(corners_of(&read), corners.iter().copied().collect());
    // A ring of 12 edges parts the sleeve.
    let (read, corners, told) = run("", "hard = true\n");
    assert_eq!(hard(&read), (12, 2));
    assert_eq!(told["value"], 12.0);
    assert_eq!(corners_of(&read), corners.iter().copied().collect());
    assert_eq!(corners.len(), 312 + 12);
    // A cuff's flat rim has two right corners all round; unless it says that they are soft.
    let cuff = "\n[[trim]]\nname = \"cuff\"\nkind = \"cuff\"\nguide = \"wrist\"\nheight = 3\nthickness = 0.5\nfollow = false\n";
    let (read, corners, told) = run(cuff, "");
    assert_eq!((hard(&read).0, told["value"].as_f64()), (24, Some(24.0)));
    assert_eq!(corners_of(&read), corners.iter().copied().collect());
    assert_eq!(hard(&run(&format!("{cuff}hard = false\n"), "").0), (0, 1));
    // A round one has none by angle, and has them where it says so.
    let round = format!("{cuff}edge = \"rounded\"\n");
    assert_eq!(hard(&run(&round, "").0).0, 0);
    assert_eq!(hard(&run(&format!("{round}hard = true\n"), "").0).0, 24);
    // By the job's own angle: a sleeve of 12 quads around turns by 30° at each.
    let (read, ..) = run("\n[shading]\nhard_angle = 20\n", "");
    assert!(hard(&read).0 >= 12 * 24, "{:?}", hard(&read));
}
