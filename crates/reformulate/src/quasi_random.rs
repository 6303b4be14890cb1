//! Points that fill a cube evenly, and the pseudo-random numbers behind them.
//!
//! ```text
//! number n in base b_j (the j-th prime):  n = Σ_k d_k b_j^k,     u_j = Σ_k π_jk(d_k) b_j^−(k+1)
//! ```
//! `π_jk` is a random permutation of the digits, one for each dimension and place, from the seed. Without it the Halton sequence lies on lines
//! in high dimensions; with it, it serves for hundreds.
//!
//! # Source
//! Owen 2017, A randomized Halton algorithm in R, arXiv:1706.02808 (the sequence; recalled). Steele, Lea and Flood 2014, OOPSLA (SplitMix64;
//! recalled).

/// Numbers that give different points: digits are kept until the base to their count reaches this; beyond it the sequence repeats.
const NUMBERS: u64 = 1 << 32;

/// Increment of SplitMix64: 2^64 over the golden ratio, made odd.
const SPLIT_MIX_STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// Bits of a fraction.
const FRACTION_BITS: u32 = 53;

/// Pseudo-random numbers from a few integers: SplitMix64.
#[derive(Debug, Clone)]
pub(crate) struct Mixer(u64);

impl Mixer {
    /// Starts from `keys`: different keys, different numbers.
    pub fn new(keys: &[u64]) -> Self {
        let mut mixer = Mixer(0);
        for &key in keys {
            mixer.0 ^= key;
            mixer.0 = mixer.next();
        }
        mixer
    }

    /// The next number.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(SPLIT_MIX_STEP);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// The next number from 0 to below 1.
    pub fn fraction(&mut self) -> f64 {
        (self.next() >> (u64::BITS - FRACTION_BITS)) as f64 / (1_u64 << FRACTION_BITS) as f64
    }

    /// The next whole number below `count`; 0 when that is 0.
    pub fn below(&mut self, count: usize) -> usize {
        ((u128::from(self.next()) * count as u128) >> u64::BITS) as usize
    }

    /// Puts a list into random order.
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            list.swap(last, self.below(last + 1));
        }
    }
}

/// One dimension.
#[derive(Debug, Clone)]
struct Axis {
    base: u64,
    /// Permuted digits: those of the first place, then of the second…
    digits: Vec<u32>,
}

/// A scrambled Halton sequence.
#[derive(Debug, Clone)]
pub struct Halton {
    axes: Vec<Axis>,
}

impl Halton {
    /// Makes the permutations.
    ///
    /// # Arguments
    /// * `dimensions`: of the cube; may be 0.
    /// * `seed`: of the permutations.
    ///
    /// # Example
    /// ```
    /// use barwright_reformulate::quasi_random::Halton;
    /// let (sequence, mut point) = (Halton::new(3, 20), Vec::new());
    /// // Every 2 points in a row have one in each half of the first axis, every 3 one in each third of the second.
    /// let halves: Vec<bool> = (0..2).map(|n| { sequence.point(n, &mut point); point[0] < 0.5 }).collect();
    /// assert!(halves[0] != halves[1]);
    /// ```
    pub fn new(dimensions: usize, seed: u64) -> Self {
        let axis = |base: u64| {
            let mut mixer = Mixer::new(&[seed, base]);
            let mut digits = Vec::new();
            let mut reach = 1;
            while reach < NUMBERS {
                let mut place: Vec<u32> = (0..base as u32).collect();
                mixer.shuffle(&mut place);
                digits.extend(place);
                reach *= base;
            }
            Axis { base, digits }
        };
        Halton { axes: primes().take(dimensions).map(axis).collect() }
    }

    /// Number of dimensions.
    pub fn dimensions(&self) -> usize {
        self.axes.len()
    }

    /// Writes point `number` into `into`, as a fraction of each side of the cube.
    ///
    /// # Returns
    /// Each coordinate, dimensionless, is above 0 and below 1.
    ///
    /// # Validity
    /// Numbers below 2^32 give different points.
    pub fn point(&self, number: u64, into: &mut Vec<f64>) {
        into.clear();
        into.extend(self.axes.iter().map(|axis| {
            let (mut rest, mut scale, mut sum) = (number, 1.0, 0.0);
            for place in axis.digits.chunks_exact(axis.base as usize) {
                scale /= axis.base as f64;
                sum += f64::from(place[(rest % axis.base) as usize]) * scale;
                rest /= axis.base;
            }
            // The middle of the smallest cell.
            sum + 0.5 * scale
        }));
    }
}

/// The primes.
fn primes() -> impl Iterator<Item = u64> {
    (2_u64..).filter(|&n| (2..n).all(|d| n % d != 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first numbers of SplitMix64 from 1234567, as published with an exercise on it (recalled).
    #[test]
    fn the_numbers_are_those_of_split_mix() {
        let mut mixer = Mixer(1_234_567);
        let found: Vec<u64> = (0..5).map(|_| mixer.next()).collect();
        let published = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        assert_eq!(found, published);
        // The upper 53 bits over 2^53.
        let fraction = Mixer(1_234_567).fraction();
        assert!((fraction - 6_457_827_717_110_365_317.0 / 2_f64.powi(64)).abs() < 1e-15, "{fraction}");
        assert_eq!(Mixer(1_234_567).below(1000), (1000.0 * fraction) as usize);
    }

    /// Each of the 6 orders of 3 things comes up about equally often.
    #[test]
    fn shuffled_lists_have_every_order() {
        let mut mixer = Mixer::new(&[5]);
        let mut counts = std::collections::BTreeMap::new();
        for _ in 0..6000 {
            let mut list = [0, 1, 2];
            mixer.shuffle(&mut list);
            *counts.entry(list).or_insert(0) += 1;
        }
        assert_eq!(counts.len(), 6);
        assert!(counts.values().all(|count| (850..1150).contains(count)), "{counts:?}");
    }

    #[test]
    fn bases_are_the_primes() {
        assert_eq!(primes().take(12).collect::<Vec<u64>>(), [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37]);
        assert_eq!(primes().nth(99), Some(541));
        assert_eq!([0, 1, 7].map(|count| Halton::new(count, 3).dimensions()), [0, 1, 7]);
    }

    #[test]
    fn every_axis_is_filled_evenly() {
        let sequence = Halton::new(40, 7);
        let mut point = Vec::new();
        let bases: Vec<u64> = primes().take(40).collect();
        assert_eq!((bases[0], bases[39]), (2, 173));
        for (axis, &base) in bases.iter().enumerate() {
            let mut cells = vec![0; base as usize];
            for number in 0..3 * base {
                sequence.point(number, &mut point);
                assert!(point[axis] > 0.0 && point[axis] < 1.0);
                cells[(point[axis] * base as f64) as usize] += 1;
            }
            assert!(cells.iter().all(|&count| count == 3), "axis {axis}: {cells:?}");
        }
    }

    /// The digits that become nothing lead to the first of the smallest cells, those that become the highest to the last: in both the point is
    /// half a cell from the end.
    #[test]
    fn points_lie_in_the_middle_of_the_smallest_cell() {
        let sequence = Halton::new(6, 7);
        let mut point = Vec::new();
        for (index, axis) in sequence.axes.iter().enumerate() {
            let base = axis.base as usize;
            let places: Vec<&[u32]> = axis.digits.chunks_exact(base).collect();
            // The number whose digits all become `wanted`.
            let number = |wanted: u32| {
                places.iter().rev().fold(0, |number, place| {
                    let digit = place.iter().position(|&digit| digit == wanted).unwrap_or(base);
                    number * axis.base + digit as u64
                })
            };
            let cells = (base as f64).powi(places.len() as i32);
            sequence.point(number(0), &mut point);
            assert!((point[index] * cells - 0.5).abs() < 1e-6, "base {base}: {}", point[index]);
            sequence.point(number(base as u32 - 1), &mut point);
            assert!(((1.0 - point[index]) * cells - 0.5).abs() < 1e-3, "base {base}: {}", point[index]);
        }
    }

    #[test]
    fn pairs_of_late_axes_are_filled_too() {
        // 4,000 points in 10 by 10 cells of the last two of 40 axes: the plain sequence leaves most of them empty at first.
        let sequence = Halton::new(40, 7);
        let (mut point, mut cells) = (Vec::new(), [0_u32; 100]);
        for number in 0..4000 {
            sequence.point(number, &mut point);
            cells[10 * (10.0 * point[38]) as usize + (10.0 * point[39]) as usize] += 1;
        }
        assert!(cells.iter().all(|&count| (15..75).contains(&count)), "{cells:?}");
    }

    #[test]
    fn the_seed_decides() {
        let at = |seed: u64, number: u64| {
            let mut point = Vec::new();
            Halton::new(5, seed).point(number, &mut point);
            point
        };
        assert_eq!(at(3, 1000), at(3, 1000));
        assert_ne!(at(3, 1000), at(4, 1000));
        assert_ne!(at(3, 1000), at(3, 1001));
    }
}
