//! A bar of a blend as the heat model sees it.

use barwright_blend::heat_curve::{HeatCurves, HeatPoint};
use barwright_heat::body::SIZE_RANGE_M;
use barwright_heat::material::Point;
use barwright_heat::{Curve, HeatError, Material, Mould as Wall, Resolution, Shape};
use barwright_reference::mould::{BarShape, Mould};
use barwright_reference::{Formula, Library};

/// Density of cast silicone, kg/m³ (recalled).
const SILICONE_KG_PER_M3: f64 = 1150.0;

/// Heat capacity of silicone, J/kgK (recalled).
const SILICONE_J_PER_KGK: f64 = 1300.0;

/// Conductivity of silicone, W/mK: published 0.2 to 0.3 (recalled).
const SILICONE_W_PER_MK: f64 = 0.25;

/// Least rise of enthalpy from row to row, J/kg: the solver's rounding is far below.
const MIN_RISE_J_PER_KG: f64 = 1.0;

/// Density of a bar at room temperature, kg/m³: `1 / Σ (w_i / ρ_i)`, each ingredient at the temperature of its table.
///
/// # Arguments
/// * `library`, `formula`: parts in mass %.
///
/// # Validity
/// Within some percent: volumes of mixing and air are left out.
pub fn density_kg_per_m3(library: &Library, formula: &Formula) -> f64 {
    let (mut mass, mut volume) = (0.0, 0.0);
    for part in &formula.parts {
        if let Some(one) = library.get(part.ingredient) {
            mass += part.percent;
            volume += part.percent / (1e3 * one.density_g_ml);
        }
    }
    if volume > 0.0 { mass / volume } else { 0.0 }
}

/// The material of a bar: warmed along the curve in use, cooled along that of the setting melt.
///
/// # Arguments
/// * `curves`: of one draw.
/// * `density_kg_per_m3`: kg/m³.
///
/// # Errors
/// [`HeatError::OutOfRange`] for an invalid density.
pub fn material(curves: &HeatCurves, density_kg_per_m3: f64) -> Result<Material, HeatError> {
    let of = &curves.properties;
    material_conducting(curves, density_kg_per_m3, of.solid_w_per_mk, of.liquid_w_per_mk)
}

/// The same with other conductivities, W/mK: very large ones stand for stirring.
///
/// # Errors
/// As [`material`].
pub(crate) fn material_conducting(
    curves: &HeatCurves,
    density_kg_per_m3: f64,
    solid_w_per_mk: f64,
    liquid_w_per_mk: f64,
) -> Result<Material, HeatError> {
    let of = &curves.properties;
    let curve = |points: &[HeatPoint]| Curve::new(&rows(points), of.solid_j_per_kgk, of.liquid_j_per_kgk);
    let setting = curve(&curves.setting)?;
    Ok(Material::new(density_kg_per_m3, curve(&curves.in_use)?, solid_w_per_mk, liquid_w_per_mk)?.with_cooling(setting))
}

/// Rows with enthalpy rising and melted share never falling: what the solver leaves within its rounding is evened out.
fn rows(points: &[HeatPoint]) -> Vec<Point> {
    let mut rows: Vec<Point> = Vec::with_capacity(points.len());
    for point in points {
        let mut row = Point {
            temperature_c: point.state.temperature_c,
            enthalpy_j_per_kg: point.enthalpy_j_per_kg,
            melted_share: point.melted_share().clamp(0.0, 1.0),
        };
        if let Some(before) = rows.last() {
            row.melted_share = row.melted_share.max(before.melted_share);
            row.enthalpy_j_per_kg = row.enthalpy_j_per_kg.max(before.enthalpy_j_per_kg + MIN_RISE_J_PER_KG);
        }
        rows.push(row);
    }
    rows
}

/// The shape of a bar in m.
pub fn shape(shape: BarShape) -> Shape {
    match shape {
        BarShape::Box { length_mm, width_mm, height_mm } => {
            Shape::Box { length_m: 1e-3 * length_mm, width_m: 1e-3 * width_mm, height_m: 1e-3 * height_mm }
        }
        BarShape::Round { diameter_mm, height_mm } => {
            Shape::Puck { diameter_m: 1e-3 * diameter_mm, height_m: 1e-3 * height_mm }
        }
    }
}

/// A grid of so few cells that its answers want correcting.
///
/// # Arguments
/// * `short`, `long`: cells from the middle to a face along the shortest side, which decides most, and along the others.
pub(crate) fn few_cells(shape: Shape, (short, long): (usize, usize)) -> Resolution {
    let min_to_middle = match shape {
        Shape::Slab { .. } => [short; 3],
        // Rings are few cells anyway.
        Shape::Puck { .. } => [short, 1, short],
        Shape::Box { length_m, width_m, height_m } => {
            let shortest_m = length_m.min(width_m).min(height_m);
            [length_m, width_m, height_m].map(|side_m| if side_m > shortest_m { long } else { short })
        }
    };
    Resolution { cell_m: SIZE_RANGE_M.1, min_to_middle, ..Resolution::default() }
}

/// The wall of a silicone mould around a bar.
///
/// # Errors
/// [`HeatError::OutOfRange`]; none for a mould that was read.
pub fn wall(mould: &Mould) -> Result<Wall, HeatError> {
    let silicone = Curve::unmelting(SILICONE_J_PER_KGK)?;
    let material = Material::new(SILICONE_KG_PER_M3, silicone, SILICONE_W_PER_MK, SILICONE_W_PER_MK)?;
    Ok(Wall { wall_m: 1e-3 * mould.wall_mm, material })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use barwright_blend::Point as State;

    #[test]
    fn densities_add_up_by_volume() {
        let library = Library::builtin().unwrap();
        let density = |text| {
            let bar = barwright_reference::formula::read_inline(text, "bar", &library).unwrap();
            density_kg_per_m3(&library, &bar.formulas[0])
        };
        // Beeswax 0.960 g/ml at 20 °C (pharmacopoeia, recalled), sunflower oil 0.920 (Codex standard, read).
        assert!((density("beeswax 100") - 960.0).abs() < 1e-9);
        assert!((density("beeswax 30, sunflower oil 70") - 1e3 / (0.3 / 0.960 + 0.7 / 0.920)).abs() < 1e-9);
        assert_eq!(density_kg_per_m3(&library, &Formula { name: String::new(), parts: Vec::new() }), 0.0);
    }

    /// Points of one heat, one of less, and one that has more solids than the colder one before it.
    #[test]
    fn heat_rises_and_what_is_melted_never_falls_from_row_to_row() {
        let point = |temperature_c: f64, enthalpy_j_per_kg: f64, solids: f64| HeatPoint {
            enthalpy_j_per_kg,
            state: State { temperature_c, solids, structure: 0.0, holding: 0.0, yield_kpa: 0.0 },
        };
        let points = [
            point(20.0, 100.0, 0.75),
            point(21.0, 100.0, 0.5),
            point(22.0, 99.0, 0.625),
            point(23.0, 2000.0, 0.0),
            point(24.0, 4000.0, -1e-9),
        ];
        let rows: Vec<(f64, f64, f64)> =
            rows(&points).iter().map(|row| (row.temperature_c, row.enthalpy_j_per_kg, row.melted_share)).collect();
        assert_eq!(
            rows,
            [(20.0, 100.0, 0.25), (21.0, 101.0, 0.5), (22.0, 102.0, 0.5), (23.0, 2000.0, 1.0), (24.0, 4000.0, 1.0)]
        );
    }

    #[test]
    fn millimetres_become_metres() {
        let box_shape = shape(BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 });
        assert_eq!(box_shape, Shape::Box { length_m: 0.06, width_m: 0.04, height_m: 0.02 });
        let round = shape(BarShape::Round { diameter_mm: 70.0, height_mm: 25.0 });
        assert_eq!(round, Shape::Puck { diameter_m: 0.07, height_m: 0.025 });
    }
}
