//! Suitability: fine detail, warmth, skin feel and grain, each a number with an interval, a probability and a plain word.
//!
//! *Warmth* is the lower of two temperatures: where the yield stress falls to the load of the bar's own weight and a stack, and
//! where the crystals no longer hold the oil.
//!
//! All four are heuristics: no published relation was found between any of them and composition. The rule is given with each
//! function; their constants are in `data/model.toml`.
//!
//! # Source
//! Our own rules of thumb.

use schemars::JsonSchema;
use serde::Serialize;

use crate::interval::Estimate;
use crate::model_draw::ModelDraw;
use crate::parameters::{Detail, Grain, Skin};

/// Relief coarser than this counts as this, mm: no mould has it.
pub const COARSEST_FEATURE_MM: f64 = 1000.0;

/// Returns a probability in whole %: as it is shown, and as every word for it is decided, so that the two agree.
pub fn whole_percent(probability: f64) -> f64 {
    (100.0 * probability).round()
}

/// A yes or no, with how sure it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// At least 90 %.
    Yes,
    /// At least 67 %.
    Likely,
    /// Above 33 %, below 67 %.
    Open,
    /// At most 33 %.
    Unlikely,
    /// At most 10 %.
    No,
}

impl Verdict {
    /// Turns a probability into a word, by its [`whole_percent`].
    pub fn from_probability(probability: f64) -> Self {
        match whole_percent(probability) {
            p if p >= 90.0 => Verdict::Yes,
            p if p >= 67.0 => Verdict::Likely,
            p if p > 33.0 => Verdict::Open,
            p if p > 10.0 => Verdict::Unlikely,
            _ => Verdict::No,
        }
    }

    /// Returns the word shown.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Yes => "yes",
            Verdict::Likely => "likely",
            Verdict::Open => "uncertain",
            Verdict::Unlikely => "unlikely",
            Verdict::No => "no",
        }
    }
}

/// Fine detail.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DetailOutlook {
    /// Finest relief that leaves the mould whole, mm; `None` when the bar does not set.
    pub finest_feature_mm: Option<Estimate>,
    /// The relief asked for, mm.
    pub relief_mm: f64,
    /// Temperature of the bar when it leaves the mould, °C.
    pub release_c: f64,
    /// Whether the relief asked for survives.
    pub verdict: Verdict,
    /// Probability that it does.
    pub probability: f64,
}

/// Warmth.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WarmthOutlook {
    /// Highest temperature at which the bar keeps its shape for a day, °C; `None` when it never does.
    pub hold_c: Option<Estimate>,
    /// The temperature asked for, °C.
    pub wanted_c: f64,
    /// Whether it is kept.
    pub verdict: Verdict,
    /// Probability that it is.
    pub probability: f64,
}

/// How a bar behaves on skin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SkinFeel {
    /// Too soft.
    Smears,
    /// Right.
    Glides,
    /// Too hard.
    Drags,
    /// None of them has [`MIN_ODDS_OF_A_FEEL`].
    Open,
}

/// Odds, as [`whole_percent`] has them, below which no feel is named as the verdict.
pub const MIN_ODDS_OF_A_FEEL: f64 = 0.6;

impl SkinFeel {
    /// Returns the feel of a bar rubbed on skin: never [`SkinFeel::Open`].
    ///
    /// # Arguments
    /// * `skin`: parameters.
    /// * `body_kpa`: yield stress of the bar as it is picked up, at [`Skin::body_c`], kPa.
    /// * `face_kpa`: yield stress of the film on skin, at [`Skin::temperature_c`], kPa.
    pub fn from_yield(skin: &Skin, body_kpa: f64, face_kpa: f64) -> Self {
        if body_kpa < skin.smears_below_kpa {
            SkinFeel::Smears
        } else if face_kpa > skin.drags_above_kpa {
            SkinFeel::Drags
        } else {
            SkinFeel::Glides
        }
    }

    /// Returns the word shown.
    pub fn word(self) -> &'static str {
        match self {
            SkinFeel::Smears => "smears",
            SkinFeel::Glides => "glides",
            SkinFeel::Drags => "drags",
            SkinFeel::Open => "uncertain",
        }
    }
}

/// Skin feel.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SkinOutlook {
    /// Skin temperature, °C.
    pub temperature_c: f64,
    /// Share of the bar that is liquid there, %.
    pub melted_percent: Estimate,
    /// Yield stress there, kPa.
    pub yield_stress_kpa: Estimate,
    /// How it feels; open where no feel has 6 odds in 10.
    pub verdict: SkinFeel,
    /// The likeliest feel.
    pub likeliest: SkinFeel,
    /// Probability of the likeliest feel.
    pub probability: f64,
}

/// Risk of graininess in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum GrainRisk {
    /// Below 0.15.
    Low,
    /// 0.15 to 0.4.
    Moderate,
    /// Above 0.4.
    High,
}

impl GrainRisk {
    /// Turns an index into a word.
    pub fn from_index(index: f64) -> Self {
        match index {
            i if i < 0.15 => GrainRisk::Low,
            i if i <= 0.4 => GrainRisk::Moderate,
            _ => GrainRisk::High,
        }
    }

    /// Returns the word shown.
    pub fn word(self) -> &'static str {
        match self {
            GrainRisk::Low => "low",
            GrainRisk::Moderate => "moderate",
            GrainRisk::High => "high",
        }
    }
}

/// Graininess when cooled slowly.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GrainOutlook {
    /// Index from 0 (none) to 1 (certain).
    pub risk: Estimate,
    /// The same in a word.
    pub verdict: GrainRisk,
    /// Symmetric stearic triglycerides, mass % of the bar.
    pub symmetric_percent: f64,
    /// Crystallising wax, mass % of the bar.
    pub wax_percent: f64,
}

/// Returns the finest relief that leaves the mould whole.
///
/// `w = c W / τ`: adhesion loads a thin rib, its own strength carries it (fracture mechanics, modulus proportional to τ).
///
/// # Arguments
/// * `detail`, `model`: parameters.
/// * `yield_kpa`: fresh yield stress at release, kPa.
///
/// # Returns
/// mm, at most [`COARSEST_FEATURE_MM`]; infinite without strength.
///
/// # Validity
/// Heuristic: the constant is set so that 30 % wax, 30 % hard butter and 40 % oil takes fine relief (common practice, no
/// source).
pub fn finest_feature_mm(detail: &Detail, model: &ModelDraw, yield_kpa: f64) -> f64 {
    if yield_kpa <= 0.0 {
        return f64::INFINITY;
    }
    (model.compliance * detail.adhesion_j_m2 / (yield_kpa * 1e3) * 1e3).min(COARSEST_FEATURE_MM)
}

/// Returns the fresh yield stress at release that takes a relief: the inverse of [`finest_feature_mm`].
///
/// # Arguments
/// * `detail`, `model`: parameters.
/// * `relief_mm`: finest relief, mm.
///
/// # Returns
/// kPa.
pub fn yield_kpa_for_feature(detail: &Detail, model: &ModelDraw, relief_mm: f64) -> f64 {
    model.compliance * detail.adhesion_j_m2 / relief_mm
}

/// Returns how near a bar is to smearing or dragging, whichever is nearer: `max[ln(smears / τ_body), ln(τ_skin / drags)]`.
///
/// # Arguments
/// As for [`SkinFeel::from_yield`]; stresses above 0.
///
/// # Returns
/// The logarithm of a ratio: below 0 it glides, 0 at the nearer limit.
pub fn skin_ln_off(skin: &Skin, body_kpa: f64, face_kpa: f64) -> f64 {
    (skin.smears_below_kpa / body_kpa).ln().max((face_kpa / skin.drags_above_kpa).ln())
}

/// Returns the index of graininess when cooled slowly, 0 to 1.
///
/// Grows with symmetric stearic triglycerides and with liquid to grow in, falls with wax that nucleates first.
///
/// # Arguments
/// * `grain`: parameters.
/// * `symmetric_percent`, `liquid_percent`, `wax_percent`: mass % of the bar; liquid at [`Grain::growth_c`].
///
/// # Validity
/// Heuristic after common practice, no source.
pub fn grain_index(grain: &Grain, symmetric_percent: f64, liquid_percent: f64, wax_percent: f64) -> f64 {
    let rise = |x: f64, half: f64| x * x / (x * x + half * half);
    let symmetric = rise(symmetric_percent, grain.symmetric_percent);
    let liquid = rise(liquid_percent, grain.liquid_percent);
    symmetric * liquid * (1.0 - rise(wax_percent, grain.wax_percent))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::Parameters;

    #[test]
    fn words_follow_the_numbers() {
        let words = [0.95, 0.9, 0.7, 0.5, 0.2, 0.05].map(|p| Verdict::from_probability(p).word());
        assert_eq!(words, ["yes", "yes", "likely", "uncertain", "unlikely", "no"]);
        assert_eq!([0.1, 0.3, 0.5].map(|i| GrainRisk::from_index(i).word()), ["low", "moderate", "high"]);
        let skin = Parameters::builtin().unwrap().skin;
        // A salve, a stick, neat beeswax, and a butter that is hard in the room and oil on skin.
        assert_eq!(
            [(5.0, 2.0), (60.0, 20.0), (900.0, 200.0), (500.0, 0.0)]
                .map(|(body, face)| SkinFeel::from_yield(&skin, body, face).word()),
            ["smears", "glides", "drags", "glides"]
        );
    }

    #[test]
    fn grain_needs_symmetric_fat_and_liquid_and_yields_to_wax() {
        let grain = Parameters::builtin().unwrap().grain;
        let base = grain_index(&grain, 20.0, 60.0, 5.0);
        assert!(grain_index(&grain, 0.0, 60.0, 5.0) < 1e-12);
        assert!(grain_index(&grain, 20.0, 20.0, 5.0) < base);
        assert!(grain_index(&grain, 20.0, 60.0, 25.0) < base);
        assert!(grain_index(&grain, 40.0, 60.0, 5.0) > base);
    }

    #[test]
    fn a_word_begins_where_its_odds_begin() {
        // Where the whole % that is shown begins: at a half.
        for (at, word, below) in [
            (0.895, Verdict::Yes, Verdict::Likely),
            (0.665, Verdict::Likely, Verdict::Open),
            (0.335, Verdict::Open, Verdict::Unlikely),
            (0.105, Verdict::Unlikely, Verdict::No),
        ] {
            assert_eq!(Verdict::from_probability(at + 1e-9), word, "{at}");
            assert_eq!(Verdict::from_probability(at - 1e-9), below, "below {at}");
        }
        let risks = [0.15, f64::from_bits(0.15_f64.to_bits() - 1), 0.4, f64::from_bits(0.4_f64.to_bits() + 1)];
        let words = risks.map(GrainRisk::from_index);
        assert_eq!(words, [GrainRisk::Moderate, GrainRisk::Low, GrainRisk::Moderate, GrainRisk::High]);
        let skin = Parameters::builtin().unwrap().skin;
        let (smears, drags) = (skin.smears_below_kpa, skin.drags_above_kpa);
        assert_eq!(SkinFeel::from_yield(&skin, smears, drags), SkinFeel::Glides);
        assert_eq!(SkinFeel::from_yield(&skin, 0.999 * smears, drags), SkinFeel::Smears);
        assert_eq!(SkinFeel::from_yield(&skin, smears, 1.001 * drags), SkinFeel::Drags);
        // Off by nothing at a limit, by ln 2 at half of one and twice the other, whichever is nearer.
        assert!(skin_ln_off(&skin, smears, 0.5 * drags).abs() < 1e-12);
        assert!(skin_ln_off(&skin, 2.0 * smears, drags).abs() < 1e-12);
        assert!((skin_ln_off(&skin, 0.5 * smears, 0.1 * drags) - 2.0_f64.ln()).abs() < 1e-12);
        assert!((skin_ln_off(&skin, 2.0 * smears, 0.1 * drags) + 2.0_f64.ln()).abs() < 1e-12);
    }

    #[test]
    fn relief_is_adhesion_over_strength_and_reads_back() {
        let parameters = Parameters::builtin().unwrap();
        let mut model = crate::model_draw::ModelDraw::at(&parameters, |_| 0.0);
        model.compliance = 500.0;
        let detail = crate::parameters::Detail { adhesion_j_m2: 0.04, ..parameters.detail };
        // 500 × 0.04 J/m² / 50 kPa = 0.4 mm.
        assert!((finest_feature_mm(&detail, &model, 50.0) - 0.4).abs() < 1e-12);
        assert!((yield_kpa_for_feature(&detail, &model, 0.4) - 50.0).abs() < 1e-9);
        assert!(finest_feature_mm(&detail, &model, 1e-6) <= COARSEST_FEATURE_MM);
        assert!(finest_feature_mm(&detail, &model, 0.0).is_infinite());
        assert!(finest_feature_mm(&detail, &model, -1.0).is_infinite());
    }

    #[test]
    fn at_half_of_everything_the_grain_index_is_an_eighth() {
        let grain = Parameters::builtin().unwrap().grain;
        let index = grain_index(&grain, grain.symmetric_percent, grain.liquid_percent, grain.wax_percent);
        assert!((index - 0.125).abs() < 1e-12);
        let (none, all) = (grain_index(&grain, 0.0, 0.0, 0.0), grain_index(&grain, 1e9, 1e9, 0.0));
        assert!(none.abs() < 1e-12 && (all - 1.0).abs() < 1e-12);
    }
}
