//! How a face gives heat to the air.
//!
//! Between the outermost cell and the air lie, in series, half the cell, what is wrapped around the bar, and the film:
//!
//! ```text
//! q = (T_cell − T_air) / (δ/2k + R_wrap + 1/(h_conv + h_rad))
//! ```
//! The film coefficient of still air is a mean over the whole face, at the face's mean temperature; radiation is taken at each cell's own. Both are
//! brought into line with the temperatures within each step.
//!
//! # Source
//! Resistances in series (textbook; recalled).

use crate::error::{HeatError, within};

/// Accepted coefficients, W/m²K.
const COEFFICIENT_RANGE: (f64, f64) = (0.0, 1e6);
/// Accepted resistances, m²K/W.
pub const RESISTANCE_RANGE: (f64, f64) = (0.0, 1e4);

/// What moves heat from the surface into the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Film {
    /// Nothing: no heat passes.
    Insulated,
    /// No film at all: the surface is at air temperature.
    Held,
    /// A coefficient, W/m²K: a fan, or a total known from elsewhere.
    Given(f64),
    /// Still air, by correlation.
    Natural,
}

/// One face towards the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposure {
    pub(crate) film: Film,
    pub(crate) emissivity: f64,
    pub(crate) resistance_m2k_per_w: f64,
    pub(crate) factor: f64,
}

/// Accepted factors on a film.
const FACTOR_RANGE: (f64, f64) = (0.05, 20.0);

impl Exposure {
    /// A face through which no heat passes.
    pub fn insulated() -> Self {
        Exposure { film: Film::Insulated, emissivity: 0.0, resistance_m2k_per_w: 0.0, factor: 1.0 }
    }

    /// A face at air temperature.
    pub fn held() -> Self {
        Exposure { film: Film::Held, emissivity: 0.0, resistance_m2k_per_w: 0.0, factor: 1.0 }
    }

    /// A face with a given coefficient.
    ///
    /// # Arguments
    /// * `w_per_m2k`: W/m²K. Fan air 15 to 30; 10 to 14 for a bare face in still air, radiation included (ranges recalled; see [`crate::convection`] for the correlations).
    /// * `emissivity`: for radiation on top of it, 0 to 1, dimensionless; 0 when the coefficient includes radiation.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// let fan = barwright_heat::Exposure::given(20.0, 0.95)?;
    /// assert!(barwright_heat::Exposure::given(-1.0, 0.95).is_err());
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn given(w_per_m2k: f64, emissivity: f64) -> Result<Self, HeatError> {
        let w_per_m2k = within("the surface coefficient", w_per_m2k, "W/m²K", COEFFICIENT_RANGE)?;
        let emissivity = within("the emissivity", emissivity, "", (0.0, 1.0))?;
        Ok(Exposure { film: Film::Given(w_per_m2k), emissivity, resistance_m2k_per_w: 0.0, factor: 1.0 })
    }

    /// A face in still air, see [`crate::convection`].
    ///
    /// # Arguments
    /// * `emissivity`: dimensionless; 0.9 to 0.95 for wax, paper, silicone; 0.05 for bright foil.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// let bare = barwright_heat::Exposure::natural(0.95)?;
    /// let wrapped = bare.wrapped(0.02)?;
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn natural(emissivity: f64) -> Result<Self, HeatError> {
        let emissivity = within("the emissivity", emissivity, "", (0.0, 1.0))?;
        Ok(Exposure { film: Film::Natural, emissivity, resistance_m2k_per_w: 0.0, factor: 1.0 })
    }

    /// The same face with something around it that resists but hardly stores heat: paper, film, board with the air under it.
    ///
    /// # Arguments
    /// * `resistance_m2k_per_w`: thickness over conductivity, summed, m²K/W. 0.3 mm paper 0.004; 3 mm corrugated board 0.05; 3 mm of still air 0.1
    ///   (own figures from k 0.08, 0.06 and 0.03 W/mK; recalled).
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`].
    pub fn wrapped(mut self, resistance_m2k_per_w: f64) -> Result<Self, HeatError> {
        self.resistance_m2k_per_w +=
            within("the resistance of the wrap", resistance_m2k_per_w, "m²K/W", RESISTANCE_RANGE)?;
        Ok(self)
    }

    /// The same face with the convective part of its film multiplied: draughts, and the error of the correlation.
    ///
    /// # Arguments
    /// * `factor`: on the coefficient of convection; radiation stays.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// let draughty = barwright_heat::Exposure::natural(0.95)?.scaled(1.5)?;
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn scaled(mut self, factor: f64) -> Result<Self, HeatError> {
        self.factor *= within("the factor on the film", factor, "", FACTOR_RANGE)?;
        Ok(self)
    }
}

/// The faces of a bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Faces {
    /// Upper face; of a slab, one of its two.
    pub top: Exposure,
    /// Lower face; of a slab, the other.
    pub bottom: Exposure,
    /// Sides.
    pub side: Exposure,
}

impl Faces {
    /// The same all over.
    pub fn all(exposure: Exposure) -> Self {
        Faces { top: exposure, bottom: exposure, side: exposure }
    }
}
