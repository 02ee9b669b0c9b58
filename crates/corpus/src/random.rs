//! Fixed sequences of random numbers.

use mesh::DVec3;

/// splitmix64 (Steele, Lea & Flood 2014).
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
}

impl Random {
    /// A sequence of its own for each seed.
    pub fn new(seed: u64) -> Self {
        Self {
            state: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x6c6f_6f70,
        }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from `low` to `high`.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// One of `0..n`; 0 for an `n` of 0.
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n.max(1) as u64) as usize
    }

    /// A unit vector, evenly over the sphere (Archimedes: height and turn are even).
    pub fn direction(&mut self) -> DVec3 {
        let height = self.within(-1.0, 1.0);
        let turn = self.within(0.0, std::f64::consts::TAU);
        let flat = (1.0 - height * height).sqrt();
        DVec3::new(flat * turn.cos(), height, flat * turn.sin())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generator_gives_the_published_values() {
        // Reference outputs of splitmix64 for the seed 1234567 (S. Vigna, splitmix64.c;
        // the values as in the Rosetta Code task "Pseudo-random numbers/Splitmix64").
        let mut random = Random { state: 1_234_567 };
        assert_eq!(random.bits(), 6_457_827_717_110_365_317);
        assert_eq!(random.bits(), 3_203_168_211_198_807_973);
        assert_eq!(random.bits(), 9_817_491_932_198_370_423);
    }

    #[test]
    fn directions_have_unit_length_and_no_favourite() {
        let mut random = Random::new(3);
        let sum: DVec3 = (0..4000).map(|_| random.direction()).sum();
        assert!((random.direction().length() - 1.0).abs() < 1e-12);
        assert!(sum.length() / 4000.0 < 0.05);
    }
}
