//! Small deterministic noise: hash-based gradient noise and cell noise.
//!
//! Gradient noise after Perlin, "An image synthesizer" (1985) and "Improving noise" (2002),
//! with gradients from an integer hash in place of a permutation table; cell noise after
//! Worley, "A cellular texture basis function" (1996).

use mesh::DVec3;

/// A field of noise; two fields with different seeds are independent.
#[derive(Clone, Copy, Debug)]
pub struct Noise {
    seed: u64,
}

impl Noise {
    /// A field of its own for each seed and channel.
    pub fn new(seed: u64, channel: u64) -> Self {
        Self {
            seed: mix(seed ^ mix(channel.wrapping_add(0x51))),
        }
    }

    fn hash(self, x: i64, y: i64, z: i64) -> u64 {
        let a = mix(self.seed ^ (x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let b = mix(a ^ (y as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f));
        mix(b ^ (z as u64).wrapping_mul(0x1656_67b1_9e37_79f9))
    }

    /// Gradient noise of unit wavelength, mean 0, roughly within -1..1.
    pub fn gradient(self, p: DVec3) -> f64 {
        let base = p.floor();
        let (x, y, z) = (base.x as i64, base.y as i64, base.z as i64);
        let t = p - base;
        let fade = t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
        let corner = |i: i64, j: i64, k: i64| {
            let h = self.hash(x + i, y + j, z + k);
            let g = DVec3::new(signed(h), signed(h >> 21), signed(h >> 42));
            g.dot(t - DVec3::new(i as f64, j as f64, k as f64))
        };
        let along_x = |j, k| lerp(corner(0, j, k), corner(1, j, k), fade.x);
        let along_y = |k| lerp(along_x(0, k), along_x(1, k), fade.y);
        1.6 * lerp(along_y(0), along_y(1), fade.z)
    }

    /// Distance between the nearest and the second nearest feature point of cells of unit
    /// size: zero along the cracks between cells.
    pub(crate) fn crack(self, p: DVec3) -> f64 {
        let base = p.floor();
        let (x, y, z) = (base.x as i64, base.y as i64, base.z as i64);
        let (mut first, mut second) = (f64::MAX, f64::MAX);
        for i in -1..=1 {
            for j in -1..=1 {
                for k in -1..=1 {
                    let h = self.hash(x + i, y + j, z + k);
                    let at = base
                        + DVec3::new(i as f64, j as f64, k as f64)
                        + 0.5
                        + 0.45 * DVec3::new(signed(h), signed(h >> 21), signed(h >> 42));
                    let d = at.distance_squared(p);
                    if d < first {
                        second = first;
                        first = d;
                    } else if d < second {
                        second = d;
                    }
                }
            }
        }
        second.sqrt() - first.sqrt()
    }
}

/// Finaliser of splitmix64 (Steele, Lea & Flood 2014).
fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// The low 21 bits as a number in -1..1.
fn signed(h: u64) -> f64 {
    (h & 0x1f_ffff) as f64 / f64::from(0x10_0000) - 1.0
}

fn lerp(a: f64, b: f64, t: f64) -> f64 {
    a + (b - a) * t
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gradient_noise_is_zero_on_the_lattice_and_bounded() {
        let noise = Noise::new(7, 1);
        assert_eq!(noise.gradient(DVec3::new(3.0, -2.0, 5.0)), 0.0);
        let mut sum = 0.0;
        for i in 0..2000 {
            let v = noise.gradient(DVec3::new(
                0.37 * f64::from(i),
                0.11 * f64::from(i),
                -0.23 * f64::from(i),
            ));
            assert!(v.abs() < 2.5);
            sum += v;
        }
        assert!((sum / 2000.0).abs() < 0.05, "mean {}", sum / 2000.0);
    }

    #[test]
    fn seeds_differ_and_repeat() {
        let p = DVec3::new(0.3, 0.6, 0.2);
        assert_eq!(Noise::new(1, 0).gradient(p), Noise::new(1, 0).gradient(p));
        assert_ne!(Noise::new(1, 0).gradient(p), Noise::new(2, 0).gradient(p));
    }
}
