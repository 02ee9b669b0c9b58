//! Reads the quads of a plain OBJ file and writes them again as OBJ and GLB, mirrored about
//! x = 0 for the triangles: `cargo run -p loopwright-files --example rewrite -- IN.obj OUT.obj OUT.glb`

use std::error::Error;
use std::path::Path;

use loopwright_files::{GlbOptions, MirrorPlane, glb, obj_text, write_whole};
use mesh::{DVec3, Group, QuadMesh};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [input, obj, binary] = args.as_slice() else {
        return Err("usage: rewrite IN.obj OUT.obj OUT.glb".into());
    };
    let mesh = quads_of(&std::fs::read_to_string(input)?)?;
    write_whole(Path::new(obj), &obj_text(&mesh, "written again"))?;
    let mut options = GlbOptions::named("surface");
    options.mirror = Some(MirrorPlane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    });
    options.metres_per_unit = 0.01;
    write_whole(Path::new(binary), &glb(&mesh, &options)?)?;
    println!(
        "{} vertices, {} quads, {} groups",
        mesh.positions.len(),
        mesh.quads.len(),
        mesh.groups.len()
    );
    Ok(())
}

/// Quads with plain vertex numbers; one group at a time.
fn quads_of(text: &str) -> Result<QuadMesh, Box<dyn Error>> {
    let mut mesh = QuadMesh::default();
    for line in text.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            ["v", x, y, z] => mesh
                .positions
                .push(DVec3::new(x.parse()?, y.parse()?, z.parse()?)),
            ["g", name, ..] => mesh.groups.push(Group {
                name: name.to_owned(),
                quads: Vec::new(),
            }),
            ["f", a, b, c, d] => {
                if let Some(group) = mesh.groups.last_mut() {
                    group.quads.push(mesh.quads.len() as u32);
                }
                mesh.quads.push([
                    a.parse::<u32>()? - 1,
                    b.parse::<u32>()? - 1,
                    c.parse::<u32>()? - 1,
                    d.parse::<u32>()? - 1,
                ]);
            }
            _ => {}
        }
    }
    Ok(mesh)
}
