//! Low-discrepancy points, scrambled by a seed.
//!
//! Sobol's sequence fills the unit cube more evenly than independent draws do,
//! so a share is known better from as many points. Owen's scrambling makes
//! every point uniform and different seeds independent. The order is scrambled
//! too, so points of two streams can be paired without being related (Latin
//! supercube sampling).
//!
//! # References
//!
//! Joe S, Kuo FY 2008, SIAM J Sci Comput 30:2635 (direction numbers);
//! Owen AB 1998, ACM TOMACS 8:71 (supercube);
//! Burley B 2020, JCGT 9(4):1 (scrambling by hashing).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Most coordinates of a point.
pub const MOST_DIMENSIONS: usize = 8;

/// Degree, coefficients and first direction numbers of the primitive
/// polynomials of coordinates 2 to 8; coordinate 1 is van der Corput's.
const POLYNOMIALS: [(usize, u32, [u32; 5]); MOST_DIMENSIONS - 1] = [
    (1, 0, [1, 0, 0, 0, 0]),
    (2, 1, [1, 3, 0, 0, 0]),
    (3, 1, [1, 3, 1, 0, 0]),
    (3, 2, [1, 1, 1, 0, 0]),
    (4, 1, [1, 1, 3, 3, 0]),
    (4, 4, [1, 3, 5, 13, 0]),
    (5, 2, [1, 1, 5, 5, 17]),
];

/// A scrambled sequence of points in the open unit cube.
///
/// Any point is made from its own number alone; there is no state to share.
#[derive(Clone, Debug)]
pub struct Points {
    directions: [[u32; 32]; MOST_DIMENSIONS],
    keys: [u32; MOST_DIMENSIONS],
    order_key: u32,
}

impl Points {
    /// The sequence of a seed and a stream (a hole's, say).
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(stream);
        let order_key = random.next_u32();
        let keys = std::array::from_fn(|_| random.next_u32());
        Self { directions: std::array::from_fn(directions), keys, order_key }
    }

    /// The first `N` coordinates of a point, each above 0 and below 1.
    pub fn unit<const N: usize>(&self, sample: u32) -> [f64; N] {
        let index = scramble(sample, self.order_key);
        std::array::from_fn(|dimension| {
            let mut value = 0;
            let mut bits = index;
            while bits != 0 {
                value ^= self.directions[dimension][bits.trailing_zeros() as usize];
                bits &= bits - 1;
            }
            (f64::from(scramble(value, self.keys[dimension])) + 0.5) / 4_294_967_296.0
        })
    }
}

/// Direction numbers of a coordinate, from 0.
fn directions(dimension: usize) -> [u32; 32] {
    let mut v: [u32; 32] = std::array::from_fn(|bit| 1 << (31 - bit));
    let Some((degree, coefficients, first)) =
        dimension.checked_sub(1).and_then(|i| POLYNOMIALS.get(i))
    else {
        return v;
    };
    for bit in 0..32 {
        if bit < *degree {
            v[bit] = first[bit] << (31 - bit);
            continue;
        }
        v[bit] = v[bit - degree] ^ (v[bit - degree] >> degree);
        for k in 1..*degree {
            if coefficients >> (degree - 1 - k) & 1 == 1 {
                v[bit] ^= v[bit - k];
            }
        }
    }
    v
}

/// Owen's scrambling of a number's bits, highest first: each bit is turned or
/// not by what the bits above it and the key say.
fn scramble(bits: u32, key: u32) -> u32 {
    let mut x = bits.reverse_bits().wrapping_add(key);
    for factor in [0x6c50_b47c_u32, 0xb82f_1e52, 0xc7af_e638, 0x8d22_f6e6] {
        x ^= x.wrapping_mul(factor);
    }
    x.reverse_bits()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_coordinate_puts_one_point_into_each_of_256_cells() {
        for seed in 0..20 {
            let points = Points::new(seed, 3);
            for dimension in 0..MOST_DIMENSIONS {
                let mut hit = [0; 256];
                for sample in 0..256 {
                    let at = points.unit::<MOST_DIMENSIONS>(sample)[dimension];
                    hit[(at * 256.0) as usize] += 1;
                }
                assert!(hit.iter().all(|h| *h == 1), "seed {seed}, coordinate {dimension}");
            }
        }
    }

    #[test]
    fn the_first_two_coordinates_are_a_net() {
        let points = Points::new(7, 1);
        for along in 0..=8_u32 {
            let (columns, rows) = (1_usize << along, 1_usize << (8 - along));
            let mut hit = vec![0; 256];
            for sample in 0..256 {
                let [x, y] = points.unit::<2>(sample);
                hit[(x * columns as f64) as usize * rows + (y * rows as f64) as usize] += 1;
            }
            assert!(hit.iter().all(|h| *h == 1), "{columns} x {rows}");
        }
    }

    #[test]
    fn streams_are_not_related() {
        let (a, b) = (Points::new(1, 0), Points::new(1, 1));
        let products: f64 =
            (0..1024).map(|i| (a.unit::<1>(i)[0] - 0.5) * (b.unit::<1>(i)[0] - 0.5)).sum();
        let correlation = products / 1024.0 * 12.0;
        assert!(correlation.abs() < 0.1, "{correlation}");
    }

    #[test]
    fn an_integral_is_known_far_better_than_by_independent_draws() {
        // Mean of 2^4 x y z w over the cube is 1; independent draws would have
        // a standard error of sqrt((4/3)^4 - 1) / 32 = 0.046.
        let worst = (0..20)
            .map(|seed| {
                let points = Points::new(seed, 0);
                let sum: f64 =
                    (0..1024).map(|i| points.unit::<4>(i).iter().product::<f64>() * 16.0).sum();
                (sum / 1024.0 - 1.0).abs()
            })
            .fold(0.0, f64::max);
        assert!(worst < 0.012, "{worst}");
    }
}
