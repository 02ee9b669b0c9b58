//! Does a work surface keep its promises?

use mesh::{DVec3, TriTopology};

use crate::model::WorkSurface;

impl WorkSurface {
    /// Checks that the surface is an oriented manifold without degenerate triangles, that
    /// every boundary edge is in exactly one chain, that neighbours in a chain share an
    /// edge that no other chain has, and that no chain passes a vertex twice.
    ///
    /// # Errors
    /// A sentence with the first broken promise and where.
    pub fn validate(&self) -> Result<(), String> {
        let topology =
            TriTopology::new(self.positions.len(), &self.triangles).map_err(|e| e.to_string())?;
        if let Some(p) = self.positions.iter().find(|p| !p.is_finite()) {
            return Err(format!("position {p} isn't finite"));
        }
        for (t, corners) in self.triangles.iter().enumerate() {
            let [a, b, c] = corners.map(|v| self.positions[v as usize]);
            if (b - a).cross(c - a) == DVec3::ZERO {
                return Err(format!("triangle {t} at {a} has no area"));
            }
        }
        let mut owner: Vec<Option<usize>> = vec![None; topology.edge_count()];
        for (i, chain) in self.chains.iter().enumerate() {
            let mut sorted = chain.vertices.clone();
            sorted.sort_unstable();
            if sorted.windows(2).any(|w| w[0] == w[1]) {
                return Err(format!("chain {i} passes a vertex twice"));
            }
            let count = chain.vertices.len();
            if count < if chain.closed { 3 } else { 2 } {
                return Err(format!("chain {i} has only {count} vertices"));
            }
            for k in 0..if chain.closed { count } else { count - 1 } {
                let (a, b) = (chain.vertices[k], chain.vertices[(k + 1) % count]);
                if (a.max(b) as usize) >= self.positions.len() {
                    return Err(format!("chain {i} names a vertex that doesn't exist"));
                }
                let Some(edge) = topology.edge_between(a, b) else {
                    return Err(format!("chain {i}: vertices {a} and {b} share no edge"));
                };
                if let Some(other) = owner[edge as usize].replace(i) {
                    return Err(format!("chains {other} and {i} share the edge {a}–{b}"));
                }
            }
        }
        for edge in 0..topology.edge_count() as u32 {
            if topology.is_boundary_edge(edge) && owner[edge as usize].is_none() {
                let [a, b] = topology.ends(edge);
                return Err(format!(
                    "boundary edge {a}–{b} at {} is in no chain",
                    self.positions[a as usize]
                ));
            }
        }
        Ok(())
    }

    /// Smallest corner angle of all triangles, degrees; 180 for no triangles.
    pub fn least_angle_degrees(&self) -> f64 {
        let mut least = 180f64;
        for corners in &self.triangles {
            let p = corners.map(|v| self.positions[v as usize]);
            for i in 0..3 {
                let (u, v) = (p[(i + 1) % 3] - p[i], p[(i + 2) % 3] - p[i]);
                least = least.min(u.angle_between(v).to_degrees());
            }
        }
        least
    }
}
