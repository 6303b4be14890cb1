//! How bars are packed for the post: in paper, in a carton, in foam, with an ice pack.
//!
//! | packing | around the bars, from inside |
//! |---|---|
//! | one bar alone | paper; still air outside |
//! | several bars | paper and gaps ([`barwright_heat::Packed`]); a carton that touches them; still air outside |
//! | with foam or an ice pack | paper and gaps; still air inside; foam on all sides; a carton; air outside |
//!
//! The wall of the last is one resistance: the flat wall and, for the edges and corners of the foam, what a block gives off in foam without end,
//! to which a very thick wall comes:
//!
//! ```text
//! 1/(U A) = 1/(k (A_i/δ + 0.956 √(4π A_i))) + (R_board + 1/h) / A_o
//! ```
//! # Validity
//! Walls store no heat. Bars as even blocks: those at the outside of a box are warmer than the mean. Foam dry and closed; gaps of its lid are left out.
//! The shape factor is that of a sphere's shell but for the 0.956, which is a cube's; it lies within 6 % of the sum over walls, edges and corners
//! (0.54 of an edge's length, 0.15 δ a corner) where the longest side is at most three of the shortest, and foam at most half of that. That sum grows again with thick foam.
//!
//! # Source
//! Shape factors of walls, edges and corners, and the steady heat of a block in an endless medium (q* = 0.956 for a cube): Incropera, Fundamentals of heat and mass
//! transfer, table of conduction shape factors (read, in a copy). The sum of the two limits is exact for a sphere.

use barwright_heat::{Body, Exposure, Faces, Material, Packed, Resolution, Shape};
use barwright_reference::mould::BarShape;

use crate::MakingError;
use crate::bar;
use crate::cool::EMISSIVITY;

/// Conductivity of foam, W/mK: expanded polystyrene 0.033 to 0.038 (recalled).
const FOAM_W_PER_MK: f64 = 0.035;

/// Steady heat of a cube in an endless medium, over that of a sphere with the same outside.
const BLOCK_Q: f64 = 0.956;

/// Resistance of a paper wrap of 0.3 mm, m²K/W (own figure from k 0.08 W/mK).
const PAPER_M2K_PER_W: f64 = 0.004;

/// Gap between two bars, with the paper of both in it, m (judgement).
const GAP_M: f64 = 0.002;

/// Resistance of that gap, m²K/W: still air at 0.026 W/mK, less a quarter for radiation (own figure).
const GAP_M2K_PER_W: f64 = 0.06;

/// Resistance of 3 mm of corrugated board, m²K/W (own figure from k 0.06 W/mK).
const BOARD_M2K_PER_W: f64 = 0.05;

/// Film outside a carton, radiation included, W/m²K: 10 to 14 for a bare face in still air (recalled).
const OUTSIDE_W_PER_M2K: f64 = 10.0;

/// Still air between bars and foam, on each side, m (judgement).
const CLEARANCE_M: f64 = 0.005;

/// Thickness of an ice pack, m (judgement: the usual flat ones).
const PACK_M: f64 = 0.02;

/// Density of an ice pack, kg/m³.
const PACK_KG_PER_M3: f64 = 1000.0;

/// Film of an ice pack in the air of the box, radiation included, W/m²K (judgement: convection of about 3 and radiation of about 5).
const PACK_W_PER_M2K: f64 = 8.0;

/// Largest number of bars in one box.
pub const MAX_BARS: u32 = 1000;

/// What is sent, and what it is packed in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Packing {
    /// One bar.
    pub shape: BarShape,
    /// Number of bars: one goes alone, several in a box.
    pub bars: u32,
    /// Thickness of foam all round, m; 0 for none.
    pub foam_m: f64,
    /// Mass of an ice pack, kg, frozen at 0 °C; 0 for none.
    pub ice_kg: f64,
}

/// Heat paths of a lined box, W/K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Paths {
    /// From outside to the air in the box.
    pub wall_w_per_k: f64,
    /// From that air to the ice pack.
    pub pack_w_per_k: f64,
}

impl Packing {
    /// Bars along length, width and height: of all ways to stack them, the one with the least surface.
    ///
    /// # Example
    /// ```
    /// use barwright_making::Packing;
    /// use barwright_reference::mould::BarShape;
    /// let shape = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
    /// let twelve = Packing { shape, bars: 12, foam_m: 0.0, ice_kg: 0.0 };
    /// assert_eq!(twelve.counts(), [1, 2, 6]);
    /// ```
    pub fn counts(&self) -> [u32; 3] {
        let [length, width, height] = self.one_m();
        let bars = self.bars.clamp(1, MAX_BARS);
        let divisors = |of: u32| (1..=of).filter(move |one| of.is_multiple_of(*one));
        let mut best = (f64::INFINITY, [bars, 1, 1]);
        for a in divisors(bars) {
            for b in divisors(bars / a) {
                let c = bars / a / b;
                let [x, y, z] = [f64::from(a) * length, f64::from(b) * width, f64::from(c) * height];
                let outside = x * y + y * z + z * x;
                // Equal ones differ by rounding: the first stays.
                if outside < best.0 * (1.0 - 1e-9) {
                    best = (outside, [a, b, c]);
                }
            }
        }
        best.1
    }

    /// Whether there is foam or an ice pack, and so a box with air in it.
    pub fn lined(&self) -> bool {
        self.foam_m > 0.0 || self.ice_kg > 0.0
    }

    /// Length, width and height of one bar, m; in a stack, a round bar counts as a square one of its volume.
    fn one_m(&self) -> [f64; 3] {
        match bar::shape(self.shape) {
            Shape::Box { length_m, width_m, height_m } => [length_m, width_m, height_m],
            Shape::Puck { diameter_m, height_m } => {
                let side_m = if self.bars > 1 { diameter_m * 0.5 * std::f64::consts::PI.sqrt() } else { diameter_m };
                [side_m, side_m, height_m]
            }
            Shape::Slab { thickness_m, height_m } => [1.0, height_m, thickness_m],
        }
    }

    /// Length, width and height of all bars, m, gaps included.
    fn block_m(&self) -> [f64; 3] {
        let gap_m = if self.bars > 1 { GAP_M } else { 0.0 };
        let (one, counts) = (self.one_m(), self.counts());
        [0, 1, 2].map(|axis: usize| f64::from(counts[axis]) * (one[axis] + gap_m))
    }

    /// Shortest side of all bars together, m.
    pub(crate) fn shortest_m(&self) -> f64 {
        self.block_m().into_iter().fold(f64::INFINITY, f64::min)
    }

    /// A grid of few cells for all bars together, as [`bar::few_cells`].
    pub(crate) fn few_cells(&self, to_middle: (usize, usize)) -> Resolution {
        let [length_m, width_m, height_m] = self.block_m();
        let shape = if self.bars > 1 { Shape::Box { length_m, width_m, height_m } } else { bar::shape(self.shape) };
        bar::few_cells(shape, to_middle)
    }

    /// Outside of all bars, m².
    fn block_m2(&self) -> f64 {
        match bar::shape(self.shape) {
            Shape::Puck { diameter_m, height_m } if self.bars <= 1 => {
                std::f64::consts::PI * diameter_m * (height_m + 0.5 * diameter_m)
            }
            _ => area_m2(self.block_m()),
        }
    }

    /// Heat paths of the lined box; `None` without foam and ice.
    pub(crate) fn paths(&self) -> Option<Paths> {
        if !self.lined() {
            return None;
        }
        let mut inner = self.block_m().map(|length| length + 2.0 * CLEARANCE_M);
        let pack_m3 = self.ice_kg / PACK_KG_PER_M3;
        inner[2] += pack_m3 / (inner[0] * inner[1]);
        let outer = inner.map(|length| length + 2.0 * self.foam_m);
        let foam_k_per_w = if self.foam_m > 0.0 {
            let inner_m2 = area_m2(inner);
            let thick_m = BLOCK_Q * (4.0 * std::f64::consts::PI * inner_m2).sqrt();
            1.0 / (FOAM_W_PER_MK * (inner_m2 / self.foam_m + thick_m))
        } else {
            0.0
        };
        let outside_k_per_w = (BOARD_M2K_PER_W + 1.0 / OUTSIDE_W_PER_M2K) / area_m2(outer);
        Some(Paths {
            wall_w_per_k: 1.0 / (foam_k_per_w + outside_k_per_w),
            pack_w_per_k: PACK_W_PER_M2K * 2.0 * pack_m3 / PACK_M,
        })
    }

    /// The bars and what is around them.
    ///
    /// # Arguments
    /// * `bar`: material of a bar.
    /// * `factor`: on the film of the air at the bars, or at the carton where there is only that.
    ///
    /// # Errors
    /// [`MakingError::Heat`] for sizes outside the range of the heat model.
    pub(crate) fn body(&self, bar: Material, factor: f64, cells: Resolution) -> Result<Body, MakingError> {
        let mut face = Exposure::natural(EMISSIVITY)?.scaled(factor)?;
        if let Some(paths) = self.paths() {
            // The air in the box as the bars see it: a source behind a resistance, here over their own area.
            face = face.wrapped(self.block_m2() / (paths.wall_w_per_k + paths.pack_w_per_k))?;
        }
        if self.bars <= 1 {
            let faces = Faces::all(face.wrapped(PAPER_M2K_PER_W)?);
            return Ok(Body::new(bar::shape(self.shape), bar, None, faces, cells)?);
        }
        let stack = Packed {
            bar_m: self.one_m(),
            counts: self.counts().map(|count| count as usize),
            gap_m: GAP_M,
            gap_m2k_per_w: GAP_M2K_PER_W,
            // In a lined box the carton is outside of the foam.
            board_m2k_per_w: if self.lined() { 0.0 } else { BOARD_M2K_PER_W },
        };
        Ok(stack.body(bar, Faces::all(face), cells)?)
    }
}

/// Outside of a box, m².
fn area_m2([length, width, height]: [f64; 3]) -> f64 {
    2.0 * (length * width + width * height + height * length)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use barwright_heat::Curve;
    use proptest::prelude::*;

    fn packing(bars: u32, foam_m: f64, ice_kg: f64) -> Packing {
        let shape = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
        Packing { shape, bars, foam_m, ice_kg }
    }

    #[test]
    fn a_stack_holds_every_bar() {
        for bars in [1, 2, 7, 12, 60, 997, 1000] {
            assert_eq!(packing(bars, 0.0, 0.0).counts().iter().product::<u32>(), bars);
        }
    }

    #[test]
    fn no_other_stack_has_less_outside() {
        let outside = |[a, b, c]: [u32; 3]| area_m2([0.06 * f64::from(a), 0.04 * f64::from(b), 0.02 * f64::from(c)]);
        for bars in 1..=36 {
            let all = (1..=bars).flat_map(|a| (1..=bars).flat_map(move |b| (1..=bars).map(move |c| [a, b, c])));
            let least = all.filter(|[a, b, c]| a * b * c == bars).map(outside).fold(f64::INFINITY, f64::min);
            let found = outside(packing(bars, 0.0, 0.0).counts());
            assert!(found <= least * (1.0 + 1e-9), "{bars}: {found} for {least}");
        }
        assert_eq!(packing(12, 0.0, 0.0).counts(), [1, 2, 6]);
        // 60 × 80 × 60 mm has 264 cm² outside, 60 × 40 × 120 mm 288.
        assert_eq!(packing(6, 0.0, 0.0).counts(), [1, 2, 3]);
    }

    #[test]
    fn a_round_bar_takes_the_room_of_a_square_one_of_its_volume() {
        let round =
            |bars| Packing { shape: BarShape::Round { diameter_mm: 60.0, height_mm: 20.0 }, ..packing(bars, 0.0, 0.0) };
        let [length, width, height] = round(2).one_m();
        assert!((length * width * height - 56.548_667_764_6e-6).abs() < 1e-12 && length == width);
        // Alone it is itself: two faces of π 3² cm² and a rim of π · 6 · 2 cm².
        assert!((round(1).block_m2() - 94.247_779_607_7e-4).abs() < 1e-12, "{}", round(1).block_m2());
        assert_eq!(round(1).shortest_m(), 0.02);
    }

    /// Shape factors of a box: A/δ for the walls, 0.54 L for an edge, 0.15 δ for a corner (Incropera and DeWitt, table 4.1, read in a copy).
    #[test]
    fn a_wall_counts_its_edges_and_corners() {
        // Inside 70 × 50 × 30 mm, foam of 10 and 15 mm.
        for foam_m in [0.010, 0.015] {
            let walls_edges_corners_m = 0.0142 / foam_m + 0.54 * 0.6 + 8.0 * 0.15 * foam_m;
            let outer = [0.07, 0.05, 0.03].map(|side| side + 2.0 * foam_m);
            let outside_k_per_w = (BOARD_M2K_PER_W + 1.0 / OUTSIDE_W_PER_M2K) / area_m2(outer);
            let wall_w_per_k = packing(1, foam_m, 0.0).paths().unwrap().wall_w_per_k;
            let shape_m = 1.0 / (1.0 / wall_w_per_k - outside_k_per_w) / FOAM_W_PER_MK;
            assert!((shape_m / walls_edges_corners_m - 1.0).abs() < 0.06, "{shape_m} for {walls_edges_corners_m}");
        }
    }

    /// In foam without end a cube gives off k q* A/L_c, L_c = √(A/4π), q* = 0.956 (same table).
    #[test]
    fn a_very_thick_wall_is_an_endless_one() {
        // A cube of 50 mm inside: 0.956 · 0.015 m² / 0.03455 m = 0.4151 m.
        let shape = BarShape::Box { length_mm: 40.0, width_mm: 40.0, height_mm: 40.0 };
        let thick = Packing { shape, bars: 1, foam_m: 1000.0, ice_kg: 0.0 };
        let shape_m = thick.paths().unwrap().wall_w_per_k / FOAM_W_PER_MK;
        assert!((shape_m - 0.4151).abs() < 1e-4, "{shape_m}");
    }

    /// The pack is a plate with two sides, lies on top, and needs room.
    #[test]
    fn a_pack_has_two_sides_and_needs_room() {
        let (with, without) = (packing(1, 0.02, 0.5).paths().unwrap(), packing(1, 0.02, 0.0).paths().unwrap());
        let side_m2 = 0.5 / PACK_KG_PER_M3 / PACK_M;
        assert!((with.pack_w_per_k - PACK_W_PER_M2K * 2.0 * side_m2).abs() < 1e-12 && without.pack_w_per_k == 0.0);
        assert!(with.wall_w_per_k > without.wall_w_per_k);
    }

    #[test]
    fn without_foam_and_ice_there_is_no_lined_box() {
        assert_eq!(packing(6, 0.0, 0.0).paths(), None);
    }

    /// A thin wall is flat: 1/(U A) = δ/(k A) + (R + 1/h)/A.
    #[test]
    fn a_thin_wall_is_flat() {
        let (with, without) = (packing(1, 1e-4, 0.0), packing(1, 1e-12, 0.0));
        let added = 1.0 / with.paths().unwrap().wall_w_per_k - 1.0 / without.paths().unwrap().wall_w_per_k;
        let inner_m2 = area_m2([0.07, 0.05, 0.03]);
        let outside = 0.15 / area_m2([0.0702, 0.0502, 0.0302]) - 0.15 / inner_m2;
        assert!((added / (1e-4 / FOAM_W_PER_MK / inner_m2 + outside) - 1.0).abs() < 0.01, "{added}");
    }

    /// Two bars lie on each other, 2 mm apart; foam of 20 mm, and half a kilogram of ice in two layers on top.
    #[test]
    fn paths_are_those_worked_by_hand() {
        let two = packing(2, 0.02, 0.5);
        let [length, width, height] = two.block_m();
        assert_eq!(two.counts(), [1, 1, 2]);
        assert!((length - 0.062).abs() < 1e-12 && (width - 0.042).abs() < 1e-12 && (height - 0.044).abs() < 1e-12);
        assert_eq!(packing(1, 0.0, 0.0).block_m(), [0.06, 0.04, 0.02]);
        // Inside 72 × 52 × 54 mm and 133.5 mm for the ice, 2 × 20 mm more outside.
        let inner = [0.072, 0.052, 0.054 + 5e-4 / (0.072 * 0.052)];
        let area = |[a, b, c]: [f64; 3]| 2.0 * (a * b + b * c + c * a);
        let wall = 0.035 * (area(inner) / 0.02 + 0.956 * (4.0 * std::f64::consts::PI * area(inner)).sqrt());
        let outer = inner.map(|side| side + 0.04);
        let expected = 1.0 / (1.0 / wall + (0.05 + 0.1) / area(outer));
        let found = two.paths().unwrap();
        assert!((found.wall_w_per_k / expected - 1.0).abs() < 1e-9, "{} {expected}", found.wall_w_per_k);
        // Both sides of 500 ml in a layer of 20 mm: 0.05 m² at 8 W/m²K.
        assert!((found.pack_w_per_k - 0.4).abs() < 1e-12, "{}", found.pack_w_per_k);
    }

    #[test]
    fn foam_or_ice_lines_a_box() {
        let lined = [(0.0, 0.0), (0.01, 0.0), (0.0, 0.1), (0.01, 0.1)].map(|(foam, ice)| packing(3, foam, ice).lined());
        assert_eq!(lined, [false, true, true, true]);
    }

    /// Several round bars count as the square ones that take their room; one has its own outside.
    #[test]
    fn the_outside_of_round_bars_is_that_of_their_block() {
        let shape = BarShape::Round { diameter_mm: 60.0, height_mm: 20.0 };
        let several = Packing { shape, bars: 2, foam_m: 0.0, ice_kg: 0.0 };
        let [a, b, c] = several.block_m();
        assert!((several.block_m2() - 2.0 * (a * b + b * c + c * a)).abs() < 1e-12);
        assert!((c - 0.044).abs() < 1e-12, "{c}");
    }

    /// Bars of 48 ml and 0.95 g/ml; a round one of 60 × 20 mm has 56.55 ml.
    #[test]
    fn the_body_holds_every_bar() {
        let curve = Curve::unmelting(2000.0).unwrap();
        let wax = Material::new(950.0, curve, 0.2, 0.2).unwrap();
        let mass_kg = |packing: Packing| packing.body(wax.clone(), 1.0, crate::cool::CELLS).unwrap().bar_mass_kg();
        for (bars, foam_m) in [(1, 0.0), (6, 0.0), (1, 0.02), (6, 0.02)] {
            let found = mass_kg(packing(bars, foam_m, 0.0));
            assert!((found - 0.0456 * f64::from(bars)).abs() < 1e-9, "{bars}: {found}");
        }
        let round =
            |bars| Packing { shape: BarShape::Round { diameter_mm: 60.0, height_mm: 20.0 }, ..packing(bars, 0.0, 0.0) };
        let one_kg = 950.0 * std::f64::consts::PI * 0.03 * 0.03 * 0.02;
        assert!((mass_kg(round(1)) - one_kg).abs() < 1e-9 && (mass_kg(round(4)) - 4.0 * one_kg).abs() < 1e-9);
    }

    proptest! {
        /// Up to foam that no one would pay for.
        #[test]
        fn more_foam_lets_less_through(
            length_mm in 15.0..200.0_f64, width_mm in 15.0..200.0_f64, height_mm in 10.0..100.0_f64,
            bars in 1_u32..50, thin_mm in 1.0..500.0_f64, more_mm in 0.1..50.0_f64, ice_kg in 0.0..2.0_f64,
        ) {
            let of = |foam_mm: f64| {
                let shape = BarShape::Box { length_mm, width_mm, height_mm };
                Packing { shape, bars, foam_m: 1e-3 * foam_mm, ice_kg }.paths().unwrap()
            };
            let (thin, thick) = (of(thin_mm), of(thin_mm + more_mm));
            prop_assert!(thick.wall_w_per_k < thin.wall_w_per_k);
            prop_assert_eq!(thick.pack_w_per_k, thin.pack_w_per_k);
        }
    }
}
