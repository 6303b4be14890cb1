//! Materials of a bar and its mould.
//!
//! The enthalpy is the quantity kept by the solver; temperature and melted share are read off it. A [`Curve`] is straight between its rows:
//!
//! ```text
//! T(h) = T_k + (h − h_k)(T_{k+1} − T_k)/(h_{k+1} − h_k),   w(h) likewise,   h_k ≤ h < h_{k+1}
//! ```
//! Two rows at one temperature make a jump: the latent heat of a pure substance, exactly. Since `h` rises from row to row, `T(h)` is single-valued even there.
//! Outside the rows the heat capacity is constant and the share stays.
//!
//! A melt that is cooled sets later than the solid melts. A [`Material`] may therefore hold two curves, and a run follows one of them
//! ([`Branch`]): heating, or cooling. A bar that does both in one run follows one curve throughout; chain two runs by their state to change over: the
//! enthalpy is carried, so no heat is lost, only the temperature at that enthalpy differs.
//!
//! # Source
//! The enthalpy method (textbook; recalled).

use crate::error::{HeatError, temperature, within};

/// Accepted heat capacities, J/kgK.
pub const HEAT_CAPACITY_RANGE: (f64, f64) = (10.0, 1e5);
/// Accepted densities, kg/m³.
const DENSITY_RANGE: (f64, f64) = (1.0, 3e4);
/// Accepted conductivities, W/mK.
const CONDUCTIVITY_RANGE: (f64, f64) = (1e-3, 1e3);
/// Accepted latent heats, J/kg.
const LATENT_RANGE: (f64, f64) = (0.0, 1e7);
/// Accepted enthalpies, J/kg, from any zero.
const ENTHALPY_RANGE: (f64, f64) = (-1e9, 1e9);
/// Heat capacity that stands for a jump inside the linear equations, J/kgK: the temperature of such a cell is held while its enthalpy moves.
pub(crate) const JUMP_HEAT_CAPACITY: f64 = 1e12;

/// Ratio of heat capacities from which a corner of a curve is sharp: Newton's iteration stops there.
pub const SHARP_CORNER: f64 = 6.0;
/// How far past a sharp corner a step downward ends, J/kg: nothing, but on the other side.
const PAST_CORNER_J_PER_KG: f64 = 1e-4;

/// Which of two curves a run follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Branch {
    /// The solid as it melts.
    #[default]
    Heating,
    /// The melt as it sets, below the temperature at which it would melt.
    Cooling,
}

/// One row of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// °C.
    pub temperature_c: f64,
    /// J/kg, from any zero.
    pub enthalpy_j_per_kg: f64,
    /// Share that is liquid, 0 to 1.
    pub melted_share: f64,
}

/// A straight piece of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Piece {
    /// Enthalpy of a point on the piece, J/kg: its start, but for the first piece its end.
    anchor_j_per_kg: f64,
    anchor_c: f64,
    anchor_share: f64,
    /// dT/dh, kgK/J; 0 in a jump.
    slope: f64,
    /// dw/dh, kg/J.
    share_slope: f64,
    /// dh/dT, J/kgK; [`JUMP_HEAT_CAPACITY`] in a jump.
    heat_capacity: f64,
}

/// A state read off a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading {
    pub temperature_c: f64,
    pub melted_share: f64,
    /// J/kgK.
    pub heat_capacity: f64,
    /// kg/J.
    pub share_slope: f64,
    /// Which piece it lies on.
    pub piece: u32,
    /// Enthalpy past the anchor of the piece, J/kg.
    pub past: f64,
    /// dT/dh, kgK/J.
    pub slope: f64,
}

/// Enthalpy and melted share against temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    points: Vec<Point>,
    pieces: Vec<Piece>,
    /// Enthalpy at which a piece starts; minus infinity for the first.
    starts: Vec<f64>,
}

impl Curve {
    /// Makes a curve from its rows.
    ///
    /// # Arguments
    /// * `points`: temperature never falling, enthalpy rising, share never falling. Equal temperatures make a jump.
    /// * `below_j_per_kgk`, `above_j_per_kgk`: heat capacity below the first and above the last row.
    ///
    /// # Errors
    /// [`HeatError::TooFewRows`], [`HeatError::Unsorted`], [`HeatError::OutOfRange`].
    ///
    /// # Validity
    /// Heat capacity between rows in [`HEAT_CAPACITY_RANGE`] at the least; no upper limit, since latent heat may be narrow.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::material::{Curve, Point};
    /// let row = |temperature_c, enthalpy_j_per_kg, melted_share| Point { temperature_c, enthalpy_j_per_kg, melted_share };
    /// let butter = Curve::new(&[row(20.0, 0.0, 0.1), row(30.0, 90e3, 0.5), row(36.0, 180e3, 1.0)], 2000.0, 2100.0)?;
    /// assert_eq!(butter.temperature_c(135e3), 33.0);
    /// assert_eq!(butter.melted_share(135e3), 0.75);
    /// assert_eq!(butter.temperature_c(182.1e3), 37.0);
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn new(points: &[Point], below_j_per_kgk: f64, above_j_per_kgk: f64) -> Result<Self, HeatError> {
        let below = within("the heat capacity below the curve", below_j_per_kgk, "J/kgK", HEAT_CAPACITY_RANGE)?;
        let above = within("the heat capacity above the curve", above_j_per_kgk, "J/kgK", HEAT_CAPACITY_RANGE)?;
        let (Some(first), Some(last)) = (points.first(), points.last()) else {
            return Err(HeatError::TooFewRows { what: "the enthalpy curve", rows: 0, least: 1 });
        };
        for point in points {
            temperature("a temperature of the enthalpy curve", point.temperature_c)?;
            within("an enthalpy of the curve", point.enthalpy_j_per_kg, "J/kg", ENTHALPY_RANGE)?;
            within("a melted share of the curve", point.melted_share, "", (0.0, 1.0))?;
        }
        let outer = |anchor: &Point, heat_capacity: f64| Piece {
            anchor_j_per_kg: anchor.enthalpy_j_per_kg,
            anchor_c: anchor.temperature_c,
            anchor_share: anchor.melted_share,
            slope: 1.0 / heat_capacity,
            share_slope: 0.0,
            heat_capacity,
        };
        let (mut pieces, mut starts) = (vec![outer(first, below)], vec![f64::NEG_INFINITY]);
        for (k, pair) in points.windows(2).enumerate() {
            let [from, to] = pair else { continue };
            let unsorted = |what, value, before| HeatError::Unsorted { what, row: k + 2, value, before };
            let (warming, heat) =
                (to.temperature_c - from.temperature_c, to.enthalpy_j_per_kg - from.enthalpy_j_per_kg);
            if warming < 0.0 {
                return Err(unsorted("temperature of the enthalpy curve", to.temperature_c, from.temperature_c));
            }
            if heat <= 0.0 || heat < warming * HEAT_CAPACITY_RANGE.0 {
                return Err(unsorted("enthalpy of the curve", to.enthalpy_j_per_kg, from.enthalpy_j_per_kg));
            }
            if to.melted_share < from.melted_share {
                return Err(unsorted("melted share of the curve", to.melted_share, from.melted_share));
            }
            pieces.push(Piece {
                anchor_j_per_kg: from.enthalpy_j_per_kg,
                anchor_c: from.temperature_c,
                anchor_share: from.melted_share,
                slope: warming / heat,
                share_slope: (to.melted_share - from.melted_share) / heat,
                heat_capacity: if warming > 0.0 {
                    (heat / warming).min(JUMP_HEAT_CAPACITY)
                } else {
                    JUMP_HEAT_CAPACITY
                },
            });
            starts.push(from.enthalpy_j_per_kg);
        }
        pieces.push(outer(last, above));
        starts.push(last.enthalpy_j_per_kg);
        Ok(Curve { points: points.to_vec(), pieces, starts })
    }

    /// Makes the curve of a pure substance: all latent heat at one temperature, as a jump.
    ///
    /// # Arguments
    /// * `melting_c`: °C.
    /// * `latent_j_per_kg`: J/kg.
    /// * `solid_j_per_kgk`, `liquid_j_per_kgk`: heat capacities.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`], [`HeatError::Unsorted`] when the latent heat is 0.
    ///
    /// # Example
    /// ```
    /// let ice = barwright_heat::material::Curve::pure(0.0, 333.6e3, 2050.0, 4200.0)?;
    /// assert_eq!(ice.temperature_c(100e3), 0.0);
    /// assert_eq!(ice.temperature_c(-2050.0), -1.0);
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn pure(
        melting_c: f64,
        latent_j_per_kg: f64,
        solid_j_per_kgk: f64,
        liquid_j_per_kgk: f64,
    ) -> Result<Self, HeatError> {
        within("the latent heat", latent_j_per_kg, "J/kg", LATENT_RANGE)?;
        let row = |enthalpy_j_per_kg, melted_share| Point { temperature_c: melting_c, enthalpy_j_per_kg, melted_share };
        Curve::new(&[row(0.0, 0.0), row(latent_j_per_kg, 1.0)], solid_j_per_kgk, liquid_j_per_kgk)
    }

    /// Makes the curve of something that does not melt. Its enthalpy is 0 at 0 °C.
    ///
    /// # Arguments
    /// * `heat_capacity_j_per_kgk`: J/kgK.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// let silicone = barwright_heat::material::Curve::unmelting(1300.0)?;
    /// assert_eq!(silicone.temperature_c(13e3), 10.0);
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn unmelting(heat_capacity_j_per_kgk: f64) -> Result<Self, HeatError> {
        let zero = Point { temperature_c: 0.0, enthalpy_j_per_kg: 0.0, melted_share: 0.0 };
        Curve::new(&[zero], heat_capacity_j_per_kgk, heat_capacity_j_per_kgk)
    }

    /// Makes the curve of a blend from its melted share against temperature, with one latent heat for all that melts.
    ///
    /// `h_{k+1} − h_k = (T_{k+1} − T_k)(c_s + (c_l − c_s)(w_k + w_{k+1})/2) + L (w_{k+1} − w_k)`
    ///
    /// # Arguments
    /// * `melted`: temperature in °C and melted share from 0 to 1, both never falling.
    /// * `latent_j_per_kg`: heat to melt all of the solid, J/kg.
    /// * `solid_j_per_kgk`, `liquid_j_per_kgk`: heat capacities, mixed by the melted share.
    ///
    /// # Errors
    /// As [`Curve::new`].
    ///
    /// # Example
    /// ```
    /// let melted = [(20.0, 0.2), (34.0, 0.8), (36.0, 1.0)];
    /// let butter = barwright_heat::material::Curve::melting(&melted, 150e3, 2000.0, 2000.0)?;
    /// let (cold, warm) = (butter.enthalpy_j_per_kg(20.0, Default::default()), butter.enthalpy_j_per_kg(36.0, Default::default()));
    /// assert!((warm - cold - (16.0 * 2000.0 + 0.8 * 150e3)).abs() < 1e-9);
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn melting(
        melted: &[(f64, f64)],
        latent_j_per_kg: f64,
        solid_j_per_kgk: f64,
        liquid_j_per_kgk: f64,
    ) -> Result<Self, HeatError> {
        within("the latent heat", latent_j_per_kg, "J/kg", LATENT_RANGE)?;
        let solid = within("the heat capacity of the solid", solid_j_per_kgk, "J/kgK", HEAT_CAPACITY_RANGE)?;
        let liquid = within("the heat capacity of the liquid", liquid_j_per_kgk, "J/kgK", HEAT_CAPACITY_RANGE)?;
        let mixed = |share: f64| solid + (liquid - solid) * share;
        let mut points: Vec<Point> = Vec::with_capacity(melted.len());
        for &(temperature_c, melted_share) in melted {
            let enthalpy_j_per_kg = points.last().map_or(0.0, |before: &Point| {
                let share = 0.5 * (before.melted_share + melted_share);
                before.enthalpy_j_per_kg
                    + (temperature_c - before.temperature_c) * mixed(share)
                    + latent_j_per_kg * (melted_share - before.melted_share)
            });
            points.push(Point { temperature_c, enthalpy_j_per_kg, melted_share });
        }
        let share = |point: Option<&Point>| point.map_or(0.0, |point| point.melted_share);
        let (below, above) = (mixed(share(points.first())), mixed(share(points.last())));
        if points.iter().any(|point| !(0.0..=1.0).contains(&point.melted_share)) {
            return Curve::new(&points, solid, liquid); // says which share it is
        }
        Curve::new(&points, below, above)
    }

    /// Returns the enthalpy at a temperature.
    ///
    /// # Arguments
    /// * `temperature_c`: °C.
    /// * `branch`: decides at a jump: solid when heating, liquid when cooling.
    ///
    /// # Returns
    /// J/kg.
    pub fn enthalpy_j_per_kg(&self, temperature_c: f64, branch: Branch) -> f64 {
        // The first piece that ends above the temperature, or the first of a jump.
        let next = match branch {
            Branch::Heating => self.points.partition_point(|point| point.temperature_c < temperature_c),
            Branch::Cooling => self.points.partition_point(|point| point.temperature_c <= temperature_c),
        };
        let Some(piece) = self.pieces.get(next) else { return f64::NAN };
        piece.anchor_j_per_kg + (temperature_c - piece.anchor_c) * piece.heat_capacity
    }

    /// Returns the temperature at an enthalpy in J/kg, °C.
    pub fn temperature_c(&self, enthalpy_j_per_kg: f64) -> f64 {
        self.read(enthalpy_j_per_kg, 0).temperature_c
    }

    /// Returns the share that is liquid at an enthalpy in J/kg.
    pub fn melted_share(&self, enthalpy_j_per_kg: f64) -> f64 {
        self.read(enthalpy_j_per_kg, 0).melted_share
    }

    /// Rows of the curve.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// Reads a state, looking from a piece near by.
    #[inline]
    pub(crate) fn read(&self, enthalpy_j_per_kg: f64, near: u32) -> Reading {
        let mut k = (near as usize).min(self.pieces.len() - 1);
        while k > 0 && enthalpy_j_per_kg < self.starts[k] {
            k -= 1;
        }
        while k + 1 < self.starts.len() && enthalpy_j_per_kg >= self.starts[k + 1] {
            k += 1;
        }
        let piece = &self.pieces[k];
        let past = enthalpy_j_per_kg - piece.anchor_j_per_kg;
        Reading {
            temperature_c: piece.anchor_c + past * piece.slope,
            melted_share: piece.anchor_share + past * piece.share_slope,
            heat_capacity: piece.heat_capacity,
            share_slope: piece.share_slope,
            piece: k as u32,
            past,
            slope: piece.slope,
        }
    }

    /// Where a step from one enthalpy towards another should end: at the first corner on the way at which the heat capacity changes by more than
    /// [`SHARP_CORNER`], a hair past it, or else where it wanted to. Past such a corner a linear step means nothing.
    ///
    /// # Source
    /// The chop of reservoir simulators, after Appleyard (recalled).
    pub(crate) fn stop_at_corner(&self, piece: u32, wanted_j_per_kg: f64) -> f64 {
        let mut k = (piece as usize).min(self.pieces.len() - 1);
        let sharp = |lower: usize| {
            let ratio = self.pieces[lower].heat_capacity / self.pieces[lower + 1].heat_capacity;
            !(1.0 / SHARP_CORNER..=SHARP_CORNER).contains(&ratio)
        };
        while k + 1 < self.starts.len() && wanted_j_per_kg >= self.starts[k + 1] {
            if sharp(k) {
                return self.starts[k + 1];
            }
            k += 1;
        }
        while k > 0 && wanted_j_per_kg < self.starts[k] {
            if sharp(k - 1) {
                return self.starts[k] - PAST_CORNER_J_PER_KG;
            }
            k -= 1;
        }
        wanted_j_per_kg
    }

    /// `φ = ∫ k dT` at the anchor of each piece, W/m, for conductivities mixed by the melted share.
    pub(crate) fn potentials(&self, conductivity: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut sum = 0.0;
        let mut potentials = vec![0.0, 0.0]; // the first two pieces have one anchor
        for pair in self.points.windows(2) {
            let [from, to] = pair else { continue };
            sum += (to.temperature_c - from.temperature_c) * conductivity(0.5 * (from.melted_share + to.melted_share));
            potentials.push(sum);
        }
        potentials
    }

    /// Least heat capacity on it, J/kgK.
    pub(crate) fn least_heat_capacity(&self) -> f64 {
        self.pieces.iter().fold(f64::INFINITY, |least, piece| least.min(piece.heat_capacity))
    }
}

/// A material.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    density_kg_per_m3: f64,
    heating: Curve,
    cooling: Option<Curve>,
    solid_w_per_mk: f64,
    liquid_w_per_mk: f64,
}

impl Material {
    /// Makes a material.
    ///
    /// # Arguments
    /// * `density_kg_per_m3`: one density: the volume is taken as fixed, so shrinkage (some percent) is left out of the heat.
    /// * `heating`: curve of the solid as it melts.
    /// * `solid_w_per_mk`, `liquid_w_per_mk`: conductivities; between them it is mixed by the melted share, `k = k_s + (k_l − k_s) w`.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`].
    ///
    /// # Validity
    /// Heat is conducted only: a melt that turns over by itself cools sooner. In a bar of some centimetres of a blend that thickens as it sets, that is
    /// the first minutes. Conductivities of solid and liquid within a factor of three of each other: far beyond it a run may not converge, and says so.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::material::{Curve, Material};
    /// let silicone = Material::new(1150.0, Curve::unmelting(1300.0)?, 0.25, 0.25)?;
    /// assert!(Material::new(f64::NAN, Curve::unmelting(1300.0)?, 0.25, 0.25).is_err());
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn new(
        density_kg_per_m3: f64,
        heating: Curve,
        solid_w_per_mk: f64,
        liquid_w_per_mk: f64,
    ) -> Result<Self, HeatError> {
        Ok(Material {
            density_kg_per_m3: within("the density", density_kg_per_m3, "kg/m³", DENSITY_RANGE)?,
            heating,
            cooling: None,
            solid_w_per_mk: within("the conductivity of the solid", solid_w_per_mk, "W/mK", CONDUCTIVITY_RANGE)?,
            liquid_w_per_mk: within("the conductivity of the liquid", liquid_w_per_mk, "W/mK", CONDUCTIVITY_RANGE)?,
        })
    }

    /// Adds the curve of the melt as it sets.
    ///
    /// # Arguments
    /// * `cooling`: from the same zero of enthalpy as the heating curve: both should agree where all is liquid.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::material::{Branch, Curve, Material};
    /// let (heating, cooling) = (Curve::pure(34.0, 150e3, 2000.0, 2000.0)?, Curve::pure(27.0, 150e3, 2000.0, 2000.0)?);
    /// let butter = Material::new(900.0, heating, 0.2, 0.16)?.with_cooling(cooling);
    /// assert!(butter.curve(Branch::Cooling).is_some());
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn with_cooling(mut self, cooling: Curve) -> Self {
        self.cooling = Some(cooling);
        self
    }

    /// Returns the curve of a branch; the cooling one may be absent.
    pub fn curve(&self, branch: Branch) -> Option<&Curve> {
        match branch {
            Branch::Heating => Some(&self.heating),
            Branch::Cooling => self.cooling.as_ref(),
        }
    }

    /// Density, kg/m³.
    pub fn density_kg_per_m3(&self) -> f64 {
        self.density_kg_per_m3
    }

    /// Conductivity at a melted share, W/mK.
    pub fn conductivity_w_per_mk(&self, melted_share: f64) -> f64 {
        self.solid_w_per_mk + (self.liquid_w_per_mk - self.solid_w_per_mk) * melted_share
    }

    /// Whether the conductivity depends on the melted share.
    pub(crate) fn conductivity_varies(&self) -> bool {
        self.solid_w_per_mk != self.liquid_w_per_mk
    }

    /// The same with another density.
    pub(crate) fn thinned(mut self, share: f64) -> Self {
        self.density_kg_per_m3 *= share;
        self
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use proptest::prelude::*;

    fn point(temperature_c: f64, enthalpy_j_per_kg: f64, melted_share: f64) -> Point {
        Point { temperature_c, enthalpy_j_per_kg, melted_share }
    }

    #[test]
    fn a_jump_is_solid_when_heating_and_liquid_when_cooling() {
        let pure = Curve::pure(60.0, 180e3, 2000.0, 2200.0).unwrap();
        assert_eq!(pure.enthalpy_j_per_kg(60.0, Branch::Heating), 0.0);
        assert_eq!(pure.enthalpy_j_per_kg(60.0, Branch::Cooling), 180e3);
        for branch in [Branch::Heating, Branch::Cooling] {
            assert_eq!(pure.enthalpy_j_per_kg(59.0, branch), -2000.0);
            assert_eq!(pure.enthalpy_j_per_kg(61.0, branch), 182.2e3);
        }
        assert_eq!(pure.melted_share(90e3), 0.5);
        assert_eq!(pure.melted_share(-1e3), 0.0);
        assert_eq!(pure.melted_share(1e6), 1.0);
    }

    #[test]
    fn rows_out_of_order_are_refused() {
        let falls = [point(20.0, 0.0, 0.0), point(19.0, 1e3, 0.0)];
        let cools = [point(20.0, 0.0, 0.0), point(21.0, -1e3, 0.0)];
        let still = [point(20.0, 0.0, 0.0), point(20.0, 0.0, 0.0)];
        let freezes = [point(20.0, 0.0, 0.5), point(21.0, 3e3, 0.4)];
        for rows in [falls, cools, still, freezes] {
            assert!(matches!(Curve::new(&rows, 2e3, 2e3), Err(HeatError::Unsorted { row: 2, .. })), "{rows:?}");
        }
        assert!(matches!(Curve::new(&[], 2e3, 2e3), Err(HeatError::TooFewRows { .. })));
        for bad in
            [point(f64::NAN, 0.0, 0.0), point(20.0, f64::NAN, 0.0), point(20.0, 0.0, 1.5), point(-280.0, 0.0, 0.0)]
        {
            assert!(matches!(Curve::new(&[bad], 2e3, 2e3), Err(HeatError::OutOfRange { .. })), "{bad:?}");
        }
        assert!(matches!(Curve::new(&[point(20.0, 0.0, 0.0)], 0.0, 2e3), Err(HeatError::OutOfRange { .. })));
        assert!(matches!(Curve::pure(40.0, -5.0, 2e3, 2e3), Err(HeatError::OutOfRange { .. })));
        assert!(matches!(Curve::pure(40.0, 0.0, 2e3, 2e3), Err(HeatError::Unsorted { .. })));
        assert!(matches!(
            Curve::melting(&[(20.0, 0.0), (30.0, 1.2)], 1e5, 2e3, 2e3),
            Err(HeatError::OutOfRange { .. })
        ));
    }

    proptest! {
        #[test]
        fn temperature_undoes_enthalpy(
            steps in prop::collection::vec((0.0..5.0_f64, 0.0..0.1_f64), 1..12),
            latent in 0.0..3e5_f64,
            at in -60.0..150.0_f64,
        ) {
            let mut rows = vec![(10.0, 0.0)];
            for (warming, share) in steps {
                let &(t, w) = rows.last().unwrap();
                rows.push((t + warming + 0.01, (w + share).min(1.0)));
            }
            let curve = Curve::melting(&rows, latent, 1900.0, 2100.0).unwrap();
            for branch in [Branch::Heating, Branch::Cooling] {
                let h = curve.enthalpy_j_per_kg(at, branch);
                prop_assert!((curve.temperature_c(h) - at).abs() < 1e-9);
            }
            prop_assert!(curve.enthalpy_j_per_kg(at + 0.5, Branch::Heating) > curve.enthalpy_j_per_kg(at, Branch::Heating));
            // From wherever the search starts.
            let h = curve.enthalpy_j_per_kg(at, Branch::Heating);
            for near in 0..20 {
                prop_assert_eq!(curve.read(h, near), curve.read(h, 0));
            }
        }
    }
}
