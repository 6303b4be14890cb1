//! Bars and what is around them, cut into cells.
//!
//! One grid serves all shapes: cells in rows along three axes, each with a volume and with the share of a resistance on either side of each face
//! between two cells. A puck is the same grid with rings along the first axis.
//!
//! | shape | axes | planes of symmetry used |
//! |---|---|---|
//! | slab | z | the middle, when both faces are alike |
//! | puck | r, z | the middle height, when top and bottom are alike |
//! | box | x, y, z | both upright middles; the middle height when top and bottom are alike |
//!
//! Top and bottom are alike when their [`Exposure`]s are equal, no air moves by itself (warm air leaves only the top), and there is no mould.
//!
//! **A mould** is cells of its own material, not a conductance: five millimetres of silicone around a bar weigh about as much as the bar and hold as much heat
//! per kelvin, so its capacity and its delay both matter. It covers bottom and sides; the top is open.
//!
//! **A wrap** is a resistance ([`Exposure::wrapped`]).
//!
//! **Several bars in a box** are one body ([`Packed`]).

use crate::convection::Facing;
use crate::error::{HeatError, within};
use crate::material::Material;
use crate::surface::{Exposure, Faces, Film};

/// Accepted sizes, m: a tenth of a millimetre to five metres.
pub const SIZE_RANGE_M: (f64, f64) = (1e-4, 5.0);
/// Cells a grid may be asked to have.
const CELLS_RANGE: (usize, usize) = (2_500, 2_000_000);
/// Fewest cells from the middle of a bar to its face.
pub const MIN_CELLS_TO_MIDDLE: usize = 5;
/// Fewest cells across a mould wall.
const MIN_CELLS_IN_WALL: usize = 2;
/// Cells of a wall are this much wider than those of the bar: it does not melt.
const WALL_COARSER: f64 = 1.6;
/// Factor by which cells grow until the grid fits.
const COARSEN: f64 = 1.05;

/// Index of the bar among the materials.
pub(crate) const BAR: u8 = 0;
/// Index of the mould among the materials.
pub(crate) const WALL: u8 = 1;

/// Outer shape of a bar, without its mould.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A plate so wide that heat leaves only through its two faces. All extensive figures are for 1 m² of it.
    Slab {
        /// From face to face, m.
        thickness_m: f64,
        /// Height at which it stands, for still air along it, m.
        height_m: f64,
    },
    /// A round bar.
    Puck {
        /// m.
        diameter_m: f64,
        /// m.
        height_m: f64,
    },
    /// A rectangular bar.
    Box {
        /// m.
        length_m: f64,
        /// m.
        width_m: f64,
        /// m.
        height_m: f64,
    },
}

/// A mould, open at the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Mould {
    /// Thickness of bottom and sides, m.
    pub wall_m: f64,
    /// What it is made of.
    pub material: Material,
}

/// How finely a body is cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resolution {
    /// Width of a cell, m. A bar too small for it gets [`MIN_CELLS_TO_MIDDLE`] narrower ones.
    pub cell_m: f64,
    /// Most cells: where the width would give more, cells grow until they fit ([`Body::cell_m`] says to what).
    pub most_cells: usize,
    /// Leave planes of symmetry unused.
    pub whole: bool,
    /// Fewest cells from the middle of a bar to its face along each axis, 1 or more: [`MIN_CELLS_TO_MIDDLE`], or fewer for a rough answer.
    pub min_to_middle: [usize; 3],
}

impl Default for Resolution {
    /// 1 mm, at most 40 000 cells.
    fn default() -> Self {
        Resolution { cell_m: 1e-3, most_cells: 40_000, whole: false, min_to_middle: [MIN_CELLS_TO_MIDDLE; 3] }
    }
}

/// Resistance across a material along one axis, `r = share/k + fixed`, mK/W.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Series {
    pub share: f64,
    pub fixed: f64,
}

impl Series {
    const PLAIN: Series = Series { share: 1.0, fixed: 0.0 };
}

/// Faces between a cell and the next one along an axis: conductance `1/(near/k_cell + far/k_next + fixed)`, W/K.
#[derive(Debug, Clone, Default)]
pub(crate) struct Links {
    /// 1/m.
    pub near: Vec<f64>,
    /// 1/m.
    pub far: Vec<f64>,
    /// K/W; infinite where there is no next cell.
    pub fixed: Vec<f64>,
}

/// A face towards the air.
#[derive(Debug, Clone, Copy)]
pub(crate) struct OuterFace {
    pub cell: usize,
    pub side: usize,
    /// m².
    pub area: f64,
    /// Resistance of the half cell is `half/k + fixed`; m, m²K/W.
    pub half: f64,
    pub fixed: f64,
}

/// A group of faces with one film.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Group {
    pub exposure: Exposure,
    pub facing: Facing,
    /// Length of the correlation, m.
    pub length_m: f64,
}

/// A body cut into cells, ready to be solved.
#[derive(Debug, Clone)]
pub struct Body {
    pub(crate) counts: [usize; 3],
    pub(crate) volume_m3: Vec<f64>,
    pub(crate) material: Vec<u8>,
    pub(crate) links: [Links; 3],
    pub(crate) faces: Vec<OuterFace>,
    pub(crate) groups: Vec<Group>,
    pub(crate) materials: Vec<Material>,
    /// Weights of cells that give the temperature in the middle.
    pub(crate) centre: Vec<(usize, f64)>,
    /// The same for the mean of a bar at a top and at a bottom corner of a box of bars; none of a bar alone.
    pub(crate) corner_bars: Vec<Vec<(usize, f64)>>,
    /// Bodies like the computed one that make the whole.
    pub(crate) copies: f64,
    cell_m: f64,
}

/// Widths along one axis.
struct Axis {
    /// Width and whether it belongs to the mould.
    cells: Vec<(f64, bool)>,
    mirrored: bool,
    /// Faces at the low and the high end.
    low: Option<usize>,
    high: Option<usize>,
}

/// How one axis is to be cut.
struct Cut {
    length_m: f64,
    low_wall: bool,
    high_wall: bool,
    mirrored: bool,
}

impl Cut {
    fn cells(&self, cell_m: f64, wall_m: f64, min_to_middle: usize) -> Vec<(f64, bool)> {
        let bar_m = if self.mirrored { 0.5 * self.length_m } else { self.length_m };
        let least = if self.mirrored { min_to_middle } else { 2 * min_to_middle };
        let even = |length_m: f64, wide_m: f64, least: usize, wall: bool| {
            // A hair of slack: 30 mm in 1 mm are 30 cells.
            let count = ((length_m / wide_m - 1e-9).ceil() as usize).max(least);
            std::iter::repeat_n((length_m / count as f64, wall), count)
        };
        let wall = |there: bool| {
            there
                .then(|| even(wall_m, WALL_COARSER * cell_m, MIN_CELLS_IN_WALL.min(min_to_middle.div_ceil(2)), true))
                .into_iter()
                .flatten()
        };
        wall(self.low_wall && !self.mirrored)
            .chain(even(bar_m, cell_m, least, false))
            .chain(wall(self.high_wall))
            .collect()
    }
}

impl Body {
    /// Cuts a bar into cells.
    ///
    /// # Arguments
    /// * `shape`: of the bar.
    /// * `bar`: its material.
    /// * `mould`: around bottom and sides, or none. The `side` exposure is then that of the mould's sides and of its rim.
    /// * `faces`: how the outer faces give heat to the air.
    /// * `resolution`: how finely.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`] for a size outside [`SIZE_RANGE_M`], [`HeatError::Cells`].
    ///
    /// # Validity
    /// The bar fills its shape: relief is left out. Cells of a large body grow beyond [`Resolution::cell_m`] so that it fits.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::body::{Body, Resolution, Shape};
    /// use barwright_heat::material::{Curve, Material};
    /// use barwright_heat::surface::{Exposure, Faces};
    /// let wax = Material::new(950.0, Curve::pure(62.0, 180e3, 2000.0, 2200.0)?, 0.25, 0.17)?;
    /// let shape = Shape::Box { length_m: 0.060, width_m: 0.040, height_m: 0.020 };
    /// let body = Body::new(shape, wax, None, Faces::all(Exposure::given(8.0, 0.0)?), Resolution::default())?;
    /// assert_eq!(body.cells(), 30 * 20 * 10); // one eighth
    /// assert!((body.bar_mass_kg() - 0.0456).abs() < 1e-9); // of the whole
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn new(
        shape: Shape,
        bar: Material,
        mould: Option<Mould>,
        faces: Faces,
        resolution: Resolution,
    ) -> Result<Self, HeatError> {
        Body::build(shape, bar, mould, faces, resolution, [Series::PLAIN; 3])
    }

    pub(crate) fn build(
        shape: Shape,
        bar: Material,
        mould: Option<Mould>,
        faces: Faces,
        resolution: Resolution,
        series: [Series; 3],
    ) -> Result<Self, HeatError> {
        let size = |what, value| within(what, value, "m", SIZE_RANGE_M);
        let sizes = match shape {
            Shape::Slab { thickness_m, height_m } => {
                size("the height of the slab", height_m)?;
                [1.0, 1.0, size("the thickness of the slab", thickness_m)?]
            }
            Shape::Puck { diameter_m, height_m } => {
                [size("the diameter of the puck", diameter_m)?, 1.0, size("the height of the puck", height_m)?]
            }
            Shape::Box { length_m, width_m, height_m } => [
                size("the length of the box", length_m)?,
                size("the width of the box", width_m)?,
                size("the height of the box", height_m)?,
            ],
        };
        within("the width of a cell", resolution.cell_m, "m", (1e-6, SIZE_RANGE_M.1))?;
        let wall_m = match &mould {
            Some(mould) => size("the wall of the mould", mould.wall_m)?,
            None => 0.0,
        };
        let (least, most) = CELLS_RANGE;
        if !(least..=most).contains(&resolution.most_cells) {
            return Err(HeatError::Cells { asked: resolution.most_cells, least, most });
        }

        let slab = matches!(shape, Shape::Slab { .. });
        let puck = matches!(shape, Shape::Puck { .. });
        let walled = mould.is_some();
        let natural = [faces.top, faces.bottom].iter().any(|face| face.film == Film::Natural);
        let level = faces.top == faces.bottom && (slab || !natural) && !walled && !resolution.whole;
        let cut = |axis: usize, length_m: f64| match axis {
            0 | 1 => {
                let mirrored = puck || !resolution.whole;
                Cut { length_m, low_wall: walled, high_wall: walled, mirrored }
            }
            _ => Cut { length_m, low_wall: walled, high_wall: false, mirrored: level },
        };
        let used = |axis: usize| axis == 2 || !(slab || puck && axis == 1);
        let rows = |axis: usize, cell_m: f64| match (used(axis), sizes.get(axis)) {
            (true, Some(&length_m)) => cut(axis, length_m).cells(cell_m, wall_m, resolution.min_to_middle[axis].max(1)),
            _ => vec![(1.0, false)],
        };
        // Coarser until it fits. At the fewest, a whole box in a mould is 14 × 14 × 12 cells, fewer than may be asked for: this ends.
        let mut cell_m = resolution.cell_m;
        let longest = sizes.iter().fold(0.0_f64, |a, &b| a.max(b)) + 2.0 * wall_m;
        let estimate = |cell_m: f64| {
            (0..3)
                .filter(|&axis| used(axis))
                .map(|axis| ((sizes[axis] + 2.0 * wall_m) / cell_m).max(1.0))
                .product::<f64>()
        };
        // Far too fine: jump, so that no list of a billion rows is made.
        while estimate(cell_m) > 64.0 * resolution.most_cells as f64 && cell_m < longest {
            cell_m *= 2.0;
        }
        let mut cells: [Vec<(f64, bool)>; 3] = [rows(0, cell_m), rows(1, cell_m), rows(2, cell_m)];
        let total = |cells: &[Vec<(f64, bool)>; 3]| cells.iter().map(Vec::len).product::<usize>();
        while total(&cells) > resolution.most_cells && cell_m < longest {
            cell_m *= COARSEN;
            cells = [rows(0, cell_m), rows(1, cell_m), rows(2, cell_m)];
        }
        if total(&cells) > resolution.most_cells {
            return Err(HeatError::Cells { asked: resolution.most_cells, least: total(&cells), most });
        }

        let (groups, [top, bottom, side, rim]) = groups(shape, faces, wall_m);
        let [x, y, z] = cells;
        let upright = |cells: Vec<(f64, bool)>, axis: usize| {
            let mirrored = puck || !resolution.whole;
            let there = used(axis);
            Axis { cells, mirrored, low: (there && !mirrored).then_some(side), high: there.then_some(side) }
        };
        let axes = [
            upright(x, 0),
            upright(y, 1),
            Axis { cells: z, mirrored: level, low: (!level).then_some(bottom), high: Some(top) },
        ];
        let copies = if slab {
            if level { 2.0 } else { 1.0 }
        } else {
            axes.iter().enumerate().filter(|(axis, a)| a.mirrored && used(*axis) && !(puck && *axis == 0)).count()
                as f64
        };
        let copies = if slab { copies } else { copies.exp2() };

        let mut materials = vec![bar];
        materials.extend(mould.map(|mould| mould.material));
        let mut body = Body {
            counts: [axes[0].cells.len(), axes[1].cells.len(), axes[2].cells.len()],
            volume_m3: Vec::new(),
            material: Vec::new(),
            links: Default::default(),
            faces: Vec::new(),
            groups,
            materials,
            centre: Vec::new(),
            corner_bars: Vec::new(),
            copies,
            cell_m,
        };
        body.fill(&axes, puck, rim, series);
        body.find_centre(&axes, puck);
        Ok(body)
    }

    /// Volumes, links and outer faces.
    fn fill(&mut self, axes: &[Axis; 3], puck: bool, rim: usize, series: [Series; 3]) {
        let [nx, ny, nz] = self.counts;
        let n = nx * ny * nz;
        // Measure of a cell along the first axis, and of its low and high face: a ring's are those of circles.
        let mut radius = 0.0;
        let first: Vec<(f64, f64, f64)> = axes[0]
            .cells
            .iter()
            .map(|&(width, _)| {
                if puck {
                    let (inner, outer) = (radius, radius + width);
                    radius = outer;
                    let pi = std::f64::consts::PI;
                    (pi * (outer * outer - inner * inner), 2.0 * pi * inner, 2.0 * pi * outer)
                } else {
                    (width, 1.0, 1.0)
                }
            })
            .collect();
        self.volume_m3.reserve(n);
        self.material.reserve(n);
        for links in &mut self.links {
            links.near.reserve(n);
            links.far.reserve(n);
            links.fixed.reserve(n);
        }
        let strides = [1, nx, nx * ny];
        let wall = |at: [usize; 3]| axes.iter().zip(at).any(|(axis, k)| axis.cells.get(k).is_some_and(|cell| cell.1));
        for k in 0..nz {
            for j in 0..ny {
                for (i, &(measure, low_measure, high_measure)) in first.iter().enumerate() {
                    let at = [i, j, k];
                    let cell = i + strides[1] * j + strides[2] * k;
                    let width = [axes[0].cells[i].0, axes[1].cells[j].0, axes[2].cells[k].0];
                    self.volume_m3.push(measure * width[1] * width[2]);
                    let walled = wall(at);
                    self.material.push(if walled { WALL } else { BAR });
                    let area = |axis: usize, high: bool| match axis {
                        0 => (if high { high_measure } else { low_measure }) * width[1] * width[2],
                        1 => measure * width[2],
                        _ => measure * width[1],
                    };
                    for axis in 0..3 {
                        let of = |walled: bool| if walled { Series::PLAIN } else { series[axis] };
                        let here = of(walled);
                        let links = &mut self.links[axis];
                        let mut next = at;
                        next[axis] += 1;
                        if let Some(&(next_width, _)) = axes[axis].cells.get(next[axis]) {
                            let there = of(wall(next));
                            let area = area(axis, true);
                            links.near.push(0.5 * width[axis] * here.share / area);
                            links.far.push(0.5 * next_width * there.share / area);
                            links.fixed.push(0.5 * (width[axis] * here.fixed + next_width * there.fixed) / area);
                        } else {
                            links.near.push(0.0);
                            links.far.push(0.0);
                            links.fixed.push(f64::INFINITY);
                        }
                        let mut outer = |side: Option<usize>, high: bool| {
                            let Some(side) = side else { return };
                            // The top of a mould's wall is its rim.
                            let side = if axis == 2 && high && walled { rim } else { side };
                            if self.groups.get(side).is_none_or(|group| group.exposure.film == Film::Insulated) {
                                return;
                            }
                            self.faces.push(OuterFace {
                                cell,
                                side,
                                area: area(axis, high),
                                half: 0.5 * width[axis] * here.share,
                                fixed: 0.5 * width[axis] * here.fixed,
                            });
                        };
                        if at[axis] == 0 {
                            outer(axes[axis].low, false);
                        }
                        if at[axis] + 1 == axes[axis].cells.len() {
                            outer(axes[axis].high, true);
                        }
                    }
                }
            }
        }
    }

    /// Weights for the temperature in the middle of the bar, of second order: on a plane of symmetry `(9 T_0 − T_1)/8`, else between the two cells at the
    /// middle, or the middle cell itself.
    fn find_centre(&mut self, axes: &[Axis; 3], puck: bool) {
        let mut weights = vec![(0_usize, 1.0)];
        let mut stride = 1;
        for (number, axis) in axes.iter().enumerate() {
            let bar = axis.cells.iter().filter(|cell| !cell.1).count();
            let first = axis.cells.iter().take_while(|cell| cell.1).count();
            let along: Vec<(usize, f64)> = if bar < 2 {
                vec![(first, 1.0)]
            } else if axis.mirrored || (puck && number == 0) {
                vec![(first, 9.0 / 8.0), (first + 1, -1.0 / 8.0)]
            } else if bar % 2 == 0 {
                vec![(first + bar / 2 - 1, 0.5), (first + bar / 2, 0.5)]
            } else {
                vec![(first + bar / 2, 1.0)]
            };
            weights = weights
                .iter()
                .flat_map(|&(cell, weight)| along.iter().map(move |&(k, w)| (cell + stride * k, weight * w)))
                .collect();
            stride *= axis.cells.len();
        }
        self.centre = weights;
    }

    /// Weights for the mean of the bars at a top and at a bottom corner: of cells as far as they are within one bar of the outer faces.
    ///
    /// # Arguments
    /// * `lengths_m`: of the box.
    /// * `bars`: along each axis.
    /// * `whole`: whether the planes of symmetry upright are unused.
    fn find_corner_bars(&mut self, lengths_m: [f64; 3], bars: [usize; 3], whole: bool) {
        // The middle height is a plane of symmetry where a third doubling makes the whole.
        let level = self.copies > 4.0;
        let mirrored = [!whole, !whole, level];
        // Shares of a bar that the cells along an axis hold, counted from its high end.
        let along: [Vec<f64>; 3] = [0, 1, 2].map(|axis: usize| {
            let count = self.counts[axis];
            let part = if mirrored[axis] { 0.5 } else { 1.0 };
            let cell_m = part * lengths_m[axis] / count as f64;
            let bar_m = (lengths_m[axis] / bars[axis] as f64).min(part * lengths_m[axis]);
            (0..count).map(|from_face| (bar_m / cell_m - from_face as f64).clamp(0.0, 1.0) * cell_m / bar_m).collect()
        });
        let [nx, ny, nz] = self.counts;
        let corner = |bottom: bool| {
            let mut weights = Vec::new();
            for (k, z) in along[2].iter().enumerate().filter(|(_, share)| **share > 0.0) {
                let k = if bottom { k } else { nz - 1 - k };
                for (j, y) in along[1].iter().enumerate().filter(|(_, share)| **share > 0.0) {
                    for (i, x) in along[0].iter().enumerate().filter(|(_, share)| **share > 0.0) {
                        weights.push((nx - 1 - i + nx * (ny - 1 - j + ny * k), x * y * z));
                    }
                }
            }
            weights
        };
        let ends: &[bool] = if level { &[false] } else { &[false, true] };
        self.corner_bars = ends.iter().map(|&bottom| corner(bottom)).collect();
    }

    /// Number of cells computed.
    pub fn cells(&self) -> usize {
        self.volume_m3.len()
    }

    /// Cells along each axis: length, radius or nothing; width or nothing; height.
    pub fn counts(&self) -> [usize; 3] {
        self.counts
    }

    /// Whether a cell, numbered along the first axis, then the second, then the third, is of the bar and not of its mould.
    pub fn is_bar(&self, cell: usize) -> bool {
        self.material.get(cell) == Some(&BAR)
    }

    /// Width of the cells, m: that asked for, or more where the grid would not have fitted.
    pub fn cell_m(&self) -> f64 {
        self.cell_m
    }

    /// Mass of the whole bar, kg.
    pub fn bar_mass_kg(&self) -> f64 {
        self.mass_kg(BAR)
    }

    /// Mass of the whole mould, kg.
    pub fn mould_mass_kg(&self) -> f64 {
        self.mass_kg(WALL)
    }

    fn mass_kg(&self, which: u8) -> f64 {
        let density = self.materials.get(which as usize).map_or(0.0, Material::density_kg_per_m3);
        let volume: f64 = self.volume_m3.iter().zip(&self.material).filter(|(_, m)| **m == which).map(|(v, _)| v).sum();
        self.copies * density * volume
    }
}

/// Groups of faces and where top, bottom, side and rim are among them.
fn groups(shape: Shape, faces: Faces, wall_m: f64) -> (Vec<Group>, [usize; 4]) {
    let group = |exposure, facing, length_m| Group { exposure, facing, length_m };
    // Height of the side and area over perimeter of the outline.
    let (height_m, flat_m) = match shape {
        Shape::Slab { height_m, .. } => {
            let upright = |exposure| group(exposure, Facing::Sideways, height_m);
            return (vec![upright(faces.top), upright(faces.bottom)], [0, 1, 0, 0]);
        }
        Shape::Puck { diameter_m, height_m } => (height_m + wall_m, 0.25 * (diameter_m + 2.0 * wall_m)),
        Shape::Box { length_m, width_m, height_m } => {
            let (length, width) = (length_m + 2.0 * wall_m, width_m + 2.0 * wall_m);
            (height_m + wall_m, 0.5 * length * width / (length + width))
        }
    };
    let groups = vec![
        group(faces.top, Facing::Up, flat_m),
        group(faces.bottom, Facing::Down, flat_m),
        group(faces.side, Facing::Sideways, height_m),
        group(faces.side, Facing::Up, flat_m),
    ];
    (groups, [0, 1, 2, 3])
}

/// Several equal bars in a box, as one body.
///
/// # Assumptions
/// * The stack is one block of `counts` bars with a gap around each, in a box of board that touches the outermost gaps.
/// * Along each axis, heat crosses bar and gap in turn: `1/k_eff = (bar/k + R_gap)/pitch`, over the share of the cross-section that is bar. What flows along the
///   gaps past the bars is left out (the air in them carries some hundredths of what the bars carry).
/// * Heat is stored in the bars only: the density is that of the bar times the share of the volume that is bar.
/// * Board and the outermost half gap are a resistance on every face.
/// * Melted share and temperature vary smoothly from bar to bar; inside one bar of the stack they are taken as even.
#[derive(Debug, Clone, PartialEq)]
pub struct Packed {
    /// Length, width and height of one bar, m.
    pub bar_m: [f64; 3],
    /// Bars along length, width and height.
    pub counts: [usize; 3],
    /// Gap between bars, m; 0 when they touch.
    pub gap_m: f64,
    /// Resistance of one gap with any wrap in it, m²K/W: gap over the conductivity of still air 0.026 W/mK, less where radiation crosses it.
    pub gap_m2k_per_w: f64,
    /// Resistance of the board, m²K/W.
    pub board_m2k_per_w: f64,
}

/// Largest number of bars along one axis of a box.
pub const MAX_BARS: usize = 1000;

impl Packed {
    /// Cuts the whole box into cells.
    ///
    /// # Arguments
    /// * `bar`: material of one bar.
    /// * `faces`: how the outside of the box gives heat to the air.
    /// * `resolution`: how finely.
    ///
    /// # Errors
    /// As [`Body::new`]; [`HeatError::OutOfRange`] for no bars, more than [`MAX_BARS`] along an axis, or an invalid gap or resistance.
    ///
    /// # Validity
    /// See the assumptions of [`Packed`]; it is accurate with several bars along each axis; one bar along an axis is as accurate as a wrapped bar.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::body::{Packed, Resolution};
    /// use barwright_heat::material::{Curve, Material};
    /// use barwright_heat::surface::{Exposure, Faces};
    /// let wax = Material::new(950.0, Curve::pure(62.0, 180e3, 2000.0, 2200.0)?, 0.25, 0.17)?;
    /// let box_of_12 = Packed {
    ///     bar_m: [0.060, 0.040, 0.020], counts: [2, 3, 2], gap_m: 0.002, gap_m2k_per_w: 0.06, board_m2k_per_w: 0.05,
    /// };
    /// let body = box_of_12.body(wax, Faces::all(Exposure::natural(0.9)?), Resolution::default())?;
    /// assert!((body.bar_mass_kg() - 12.0 * 0.0456).abs() < 1e-9);
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn body(&self, bar: Material, faces: Faces, resolution: Resolution) -> Result<Body, HeatError> {
        let gap_m = within("the gap between bars", self.gap_m, "m", (0.0, SIZE_RANGE_M.1))?;
        let gap = within("the resistance of a gap", self.gap_m2k_per_w, "m²K/W", crate::surface::RESISTANCE_RANGE)?;
        let board =
            within("the resistance of the board", self.board_m2k_per_w, "m²K/W", crate::surface::RESISTANCE_RANGE)?;
        let mut lengths = [0.0; 3];
        let mut solid = [0.0; 3];
        for ((length, solid), (&bar_m, &count)) in
            lengths.iter_mut().zip(&mut solid).zip(self.bar_m.iter().zip(&self.counts))
        {
            within("the size of a bar", bar_m, "m", SIZE_RANGE_M)?;
            within("the number of bars", count as f64, "", (1.0, MAX_BARS as f64))?;
            *length = count as f64 * (bar_m + gap_m);
            *solid = bar_m / (bar_m + gap_m);
        }
        let filled: f64 = solid.iter().product();
        let mut series = [Series::PLAIN; 3];
        for ((series, along), &bar_m) in series.iter_mut().zip(solid).zip(&self.bar_m) {
            let across = filled / along;
            *series = Series { share: along / across, fixed: gap / (bar_m + gap_m) / across };
        }
        // The half gap at the outer face is inside the body's own resistance.
        let around = |face: Exposure| face.wrapped(board);
        let faces = Faces { top: around(faces.top)?, bottom: around(faces.bottom)?, side: around(faces.side)? };
        let [length_m, width_m, height_m] = lengths;
        let shape = Shape::Box { length_m, width_m, height_m };
        let mut body = Body::build(shape, bar.thinned(filled), None, faces, resolution, series)?;
        body.find_corner_bars(lengths, self.counts, resolution.whole);
        Ok(body)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::material::Curve;

    fn wax() -> Material {
        Material::new(950.0, Curve::unmelting(2000.0).unwrap(), 0.2, 0.2).unwrap()
    }

    fn faces() -> Faces {
        Faces::all(Exposure::given(8.0, 0.0).unwrap())
    }

    fn outer_area(body: &Body) -> f64 {
        body.copies * body.faces.iter().map(|face| face.area).sum::<f64>()
    }

    #[test]
    fn volumes_and_areas_are_those_of_the_shape() {
        let pi = std::f64::consts::PI;
        for whole in [false, true] {
            let resolution = Resolution { whole, cell_m: 2e-3, ..Resolution::default() };
            for (shape, volume, area) in [
                (Shape::Box { length_m: 0.06, width_m: 0.04, height_m: 0.02 }, 48e-6, 2.0 * (24e-4 + 12e-4 + 8e-4)),
                (Shape::Puck { diameter_m: 0.06, height_m: 0.025 }, pi * 9e-4 * 0.025, pi * (18e-4 + 0.06 * 0.025)),
                (Shape::Slab { thickness_m: 0.02, height_m: 0.06 }, 0.02, 2.0),
            ] {
                let body = Body::new(shape, wax(), None, faces(), resolution).unwrap();
                assert!((body.bar_mass_kg() / (950.0 * volume) - 1.0).abs() < 1e-12, "{shape:?}");
                assert!((outer_area(&body) / area - 1.0).abs() < 1e-12, "{shape:?} {}", outer_area(&body));
                let weights: f64 = body.centre.iter().map(|(_, weight)| weight).sum();
                assert!((weights - 1.0).abs() < 1e-12);
            }
        }
    }

    /// In whole cells and in parts of one, over every plane of symmetry: what is weighed is one bar at the end of each axis.
    #[test]
    fn a_corner_bar_is_one_bar() {
        let natural = Faces::all(Exposure::natural(0.9).unwrap());
        for (faces, ends) in [(faces(), 1), (natural, 2)] {
            for counts in [[1, 1, 1], [2, 3, 1], [1, 2, 6], [5, 4, 7]] {
                let packed = Packed {
                    bar_m: [0.06, 0.04, 0.02],
                    counts,
                    gap_m: 0.002,
                    gap_m2k_per_w: 0.06,
                    board_m2k_per_w: 0.05,
                };
                for cell_m in [3e-3, 7e-3] {
                    let body = packed.body(wax(), faces, Resolution { cell_m, ..Resolution::default() }).unwrap();
                    assert_eq!(body.corner_bars.len(), ends);
                    for bar in &body.corner_bars {
                        let sum: f64 = bar.iter().map(|(_, weight)| weight).sum();
                        // No cell counts for more than its share of a bar.
                        let one_m3 = 0.062 * 0.042 * 0.022;
                        let part = if ends == 1 { 8.0 } else { 4.0 } * body.volume_m3.iter().sum::<f64>();
                        let bars = counts.iter().product::<usize>() as f64;
                        assert!((part - bars * one_m3).abs() < 1e-12);
                        assert!((sum - 1.0).abs() < 1e-12, "{counts:?} {cell_m}: {sum}");
                        let last = body.volume_m3.len() - 1;
                        let top = bar.iter().any(|(cell, _)| *cell == last);
                        assert!(top || ends == 2, "the corner itself is of it");
                    }
                }
            }
        }
    }

    #[test]
    fn a_mould_is_open_at_the_top() {
        let mould = || Some(Mould { wall_m: 0.005, material: wax() });
        let shape = Shape::Box { length_m: 0.06, width_m: 0.04, height_m: 0.02 };
        for whole in [false, true] {
            let resolution = Resolution { whole, ..Resolution::default() };
            let body = Body::new(shape, wax(), mould(), faces(), resolution).unwrap();
            let outer = 0.07 * 0.05 * 0.025;
            assert!((body.mould_mass_kg() / (950.0 * (outer - 48e-6)) - 1.0).abs() < 1e-12);
            assert!((body.bar_mass_kg() - 950.0 * 48e-6).abs() < 1e-12);
            let area = 2.0 * (0.07 * 0.05 + 0.07 * 0.025 + 0.05 * 0.025);
            assert!((outer_area(&body) / area - 1.0).abs() < 1e-12);
            let bare: f64 = body.faces.iter().filter(|face| body.is_bar(face.cell)).map(|face| face.area).sum();
            assert!((body.copies * bare - 24e-4).abs() < 1e-12, "only the top of the bar is bare");
        }
    }

    #[test]
    fn sizes_that_are_none_are_refused() {
        for size in [0.0, -0.01, f64::NAN, f64::INFINITY, 1e3, 1e-9] {
            for shape in [
                Shape::Box { length_m: size, width_m: 0.04, height_m: 0.02 },
                Shape::Box { length_m: 0.06, width_m: 0.04, height_m: size },
                Shape::Puck { diameter_m: size, height_m: 0.02 },
                Shape::Slab { thickness_m: size, height_m: 0.06 },
                Shape::Slab { thickness_m: 0.02, height_m: size },
            ] {
                let built = Body::new(shape, wax(), None, faces(), Resolution::default());
                assert!(matches!(built, Err(HeatError::OutOfRange { .. })), "{shape:?}");
            }
            let shape = Shape::Box { length_m: 0.06, width_m: 0.04, height_m: 0.02 };
            let mould = Some(Mould { wall_m: size, material: wax() });
            assert!(Body::new(shape, wax(), mould, faces(), Resolution::default()).is_err());
            let resolution = Resolution { cell_m: size, ..Resolution::default() };
            assert!(Body::new(shape, wax(), None, faces(), resolution).is_err());
        }
        let resolution = Resolution { most_cells: 3, ..Resolution::default() };
        let shape = Shape::Puck { diameter_m: 0.06, height_m: 0.02 };
        assert!(matches!(Body::new(shape, wax(), None, faces(), resolution), Err(HeatError::Cells { asked: 3, .. })));
    }

    #[test]
    fn a_metre_of_bar_is_cut_coarser_until_it_fits() {
        let mould = || Some(Mould { wall_m: 0.005, material: wax() });
        for (cell_m, most_cells) in [(1e-3, 40_000), (1e-6, 2_500), (1e-3, 2_000_000)] {
            for mould in [None, mould(), Some(Mould { wall_m: 5.0, material: wax() })] {
                for size in [[1.0, 1.0, 1.0], [5.0, 0.01, 0.01], [5.0, 5.0, 1e-4]] {
                    let shape = Shape::Box { length_m: size[0], width_m: size[1], height_m: size[2] };
                    let resolution = Resolution { cell_m, most_cells, whole: false, ..Resolution::default() };
                    let body = Body::new(shape, wax(), mould.clone(), faces(), resolution).unwrap();
                    assert!(
                        body.cells() <= most_cells && body.cell_m() >= cell_m,
                        "{} {}",
                        body.cells(),
                        body.cell_m()
                    );
                    let grown = body.cell_m() > cell_m;
                    assert!(!grown || body.cells() * 3 > most_cells, "coarser than needed: {}", body.cells());
                }
            }
        }
    }

    #[test]
    fn packed_bars_resist_as_bars_and_gaps_in_turn() {
        let packed = Packed {
            bar_m: [0.06, 0.04, 0.02],
            counts: [2, 3, 4],
            gap_m: 0.002,
            gap_m2k_per_w: 0.07,
            board_m2k_per_w: 0.05,
        };
        let body = packed.body(wax(), faces(), Resolution::default()).unwrap();
        assert!((body.bar_mass_kg() / (24.0 * 950.0 * 48e-6) - 1.0).abs() < 1e-12);
        // From the middle of the box straight to one side through the links: (bars/k + gaps)/(bar area), for half the length.
        let nx = body.counts[0];
        let through: f64 = (0..nx - 1)
            .map(|i| {
                let links = &body.links[0];
                (links.near[i] + links.far[i]) / 0.2 + links.fixed[i]
            })
            .sum();
        let cell_area = 0.5 * 3.0 * 0.042 / body.counts[1] as f64 * (0.5 * 4.0 * 0.022 / body.counts[2] as f64);
        let bars = 0.04 / 0.042 * 0.02 / 0.022;
        let whole = (0.06 / 0.2 + 0.07) / (bars * cell_area);
        assert!((through / (whole * (nx - 1) as f64 / nx as f64) / 1.0 - 1.0).abs() < 0.02, "{through} {whole}");
        for counts in [[0, 1, 1], [1, 5000, 1]] {
            assert!(Packed { counts, ..packed.clone() }.body(wax(), faces(), Resolution::default()).is_err());
        }
    }
}
