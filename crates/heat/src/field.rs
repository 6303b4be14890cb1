//! Temperatures of all cells and the heat that flows between them, from their enthalpies.
//!
//! Where the conductivity depends on the melted share, the flow between two cells of one material is that of `φ = ∫ k dT`, which is straight between them
//! when nothing is stored:
//!
//! ```text
//! k_face = (φ_j − φ_i)/(T_j − T_i)
//! ```
//! Up to the front of a pure substance that is the conductivity of the solid alone, as it should be: a mean with that of the cell being melted would hold
//! the front back.
//!
//! # Source
//! Voller and Swaminathan 1993, Numer. Heat Transfer B 24, 161 (recalled).

use std::ops::Range;

use crate::body::{BAR, Body, Group, OuterFace};
use crate::convection::{natural_w_per_m2k, radiation_w_per_m2k};
use crate::error::HeatError;
use crate::material::{Branch, Curve};
use crate::record::Sample;
use crate::stencil::Stencil;
use crate::surface::Film;

/// Rounds in which films and surface temperatures are brought into line at the first reading of an equation, and at each after it; what is left shrinks from
/// reading to reading.
const FILM_ROUNDS: (usize, usize) = (2, 1);

/// The same at the start, when nothing is known of the surface.
const FIRST_FILM_ROUNDS: usize = 20;

/// Least film coefficient, W/m²K: keeps its resistance finite.
const MIN_FILM: f64 = 1e-9;

/// Difference of temperature below which the conductivity between two cells is the mean of theirs, K.
const MIN_DIFFERENCE_K: f64 = 1e-7;

/// A face and its film.
#[derive(Debug, Clone, Copy)]
struct Skin {
    face: OuterFace,
    /// 1/h, m²K/W.
    film: f64,
    /// From the middle of the cell to the air, W/m²K.
    through: f64,
}

/// All cells at one time.
#[derive(Debug, Clone)]
pub(crate) struct Field<'a> {
    body: &'a Body,
    curves: Vec<&'a Curve>,
    /// Cells of one material that follow each other, and which it is.
    stretches: Vec<(Range<usize>, usize)>,
    pub mass_kg: Vec<f64>,
    pub per_kg: Vec<f64>,
    /// What each cell counts in a mean square over the body; they sum to 1. Bar and mould count alike whatever their masses, and a cell as its mass
    /// in its own: in a thick mould a mean by mass alone would not see the bar.
    pub counts: Vec<f64>,
    /// The same for what is left of an equation of heat, J: count over squared mass, 1/kg².
    pub residual_counts: Vec<f64>,
    margin: usize,
    strides: [usize; 3],
    /// °C; with margin.
    temperature_c: Vec<f64>,
    pub heat_capacity: Vec<f64>,
    /// The heat capacities that went into the matrix.
    pub assembled: Vec<f64>,
    share: Vec<f64>,
    pub share_slope: Vec<f64>,
    piece: Vec<u32>,
    /// 1/k, mK/W.
    resistivity: Vec<f64>,
    /// ∫ k dT, W/m; kept only where the conductivity varies.
    potential: Vec<f64>,
    /// The same at the anchor of each piece, for each material.
    anchors: Vec<Vec<f64>>,
    /// k_l − k_s of each material, W/mK.
    rises: Vec<f64>,
    /// Conductance to the next cell along each axis, W/K; with margin.
    links: [Vec<f64>; 3],
    skins: Vec<Skin>,
    /// Heat into each cell, W.
    pub flow_w: Vec<f64>,
    /// Some conductivity depends on the melted share.
    varies: bool,
    /// Some film depends on temperature.
    films_vary: bool,
}

impl<'a> Field<'a> {
    /// Prepares the fields of a body on one branch of its curves.
    ///
    /// # Errors
    /// [`HeatError::NoCoolingCurve`].
    pub fn new(body: &'a Body, branch: Branch, stencil: &Stencil) -> Result<Self, HeatError> {
        let mut curves = Vec::new();
        for (number, material) in body.materials.iter().enumerate() {
            // Only the bar sets and melts; a mould has one curve.
            let curve = match (number, material.curve(branch)) {
                (_, Some(curve)) => curve,
                (0, None) => return Err(HeatError::NoCoolingCurve { material: "bar" }),
                (_, None) => match material.curve(Branch::Heating) {
                    Some(curve) => curve,
                    None => return Err(HeatError::NoCoolingCurve { material: "mould" }),
                },
            };
            curves.push(curve);
        }
        let n = body.cells();
        let density = |material: u8| body.materials.get(material as usize).map_or(0.0, |m| m.density_kg_per_m3());
        let mass_kg: Vec<f64> = body.volume_m3.iter().zip(&body.material).map(|(v, &m)| v * density(m)).collect();
        let per_kg = mass_kg.iter().map(|mass| 1.0 / mass).collect();
        let mut kinds_kg = vec![0.0; body.materials.len()];
        for (mass, &material) in mass_kg.iter().zip(&body.material) {
            kinds_kg[material as usize] += mass;
        }
        let kinds = kinds_kg.iter().filter(|&&kg| kg > 0.0).count() as f64;
        let counts: Vec<f64> =
            mass_kg.iter().zip(&body.material).map(|(mass, &m)| mass / (kinds * kinds_kg[m as usize])).collect();
        let residual_counts = counts.iter().zip(&mass_kg).map(|(count, mass)| count / (mass * mass)).collect();
        let margin = stencil.margin();
        let padded = || vec![0.0; n + 2 * margin];
        let mut skins: Vec<Skin> = body.faces.iter().map(|&face| Skin { face, film: 0.0, through: 0.0 }).collect();
        skins.sort_by_key(|skin| skin.face.side);
        let changes = |group: &Group| group.exposure.film == Film::Natural || group.exposure.emissivity > 0.0;
        let anchors = curves
            .iter()
            .zip(&body.materials)
            .map(|(curve, material)| curve.potentials(|share| material.conductivity_w_per_mk(share)))
            .collect();
        let rises =
            body.materials.iter().map(|m| m.conductivity_w_per_mk(1.0) - m.conductivity_w_per_mk(0.0)).collect();
        let mut stretches: Vec<(Range<usize>, usize)> = Vec::new();
        for cells in body.material.chunk_by(|one, next| one == next) {
            let from = stretches.last().map_or(0, |(before, _)| before.end);
            stretches.push((from..from + cells.len(), cells.first().map_or(0, |&which| which.into())));
        }
        Ok(Field {
            body,
            curves,
            stretches,
            per_kg,
            counts,
            residual_counts,
            mass_kg,
            margin,
            strides: stencil.strides(),
            temperature_c: padded(),
            heat_capacity: vec![0.0; n],
            assembled: vec![0.0; n],
            share: vec![0.0; n],
            share_slope: vec![0.0; n],
            piece: vec![0; n],
            resistivity: vec![0.0; n],
            potential: vec![0.0; n],
            anchors,
            rises,
            links: [padded(), padded(), padded()],
            skins,
            flow_w: vec![0.0; n],
            varies: body.materials.iter().any(|material| material.conductivity_varies()),
            films_vary: body.groups.iter().any(changes),
        })
    }

    /// Curve of the bar.
    pub fn bar_curve(&self) -> &'a Curve {
        self.curves[BAR as usize]
    }

    /// Curve of a cell's material.
    pub fn curve(&self, cell: usize) -> &'a Curve {
        self.curves[self.body.material[cell] as usize]
    }

    /// Temperatures, °C.
    pub fn temperatures_c(&self) -> &[f64] {
        &self.temperature_c[self.margin..self.margin + self.mass_kg.len()]
    }

    /// Melted shares.
    pub fn shares(&self) -> &[f64] {
        &self.share
    }

    /// Reads temperature and melted share off the enthalpies, J/kg.
    pub fn read(&mut self, enthalpy: &[f64]) {
        let n = enthalpy.len();
        let temperature = &mut self.temperature_c[self.margin..self.margin + n];
        let (capacity, share) = (&mut self.heat_capacity[..n], &mut self.share[..n]);
        let (slope, piece) = (&mut self.share_slope[..n], &mut self.piece[..n]);
        let (resistivity, potential) = (&mut self.resistivity[..n], &mut self.potential[..n]);
        for (cells, which) in &self.stretches {
            let (curve, material) = (self.curves[*which], &self.body.materials[*which]);
            let (anchors, rise) = (&self.anchors[*which][..], self.rises[*which]);
            for i in cells.clone() {
                let reading = curve.read(enthalpy[i], piece[i]);
                temperature[i] = reading.temperature_c;
                capacity[i] = reading.heat_capacity;
                share[i] = reading.melted_share;
                slope[i] = reading.share_slope;
                piece[i] = reading.piece;
                if self.varies {
                    let k = material.conductivity_w_per_mk(reading.melted_share);
                    resistivity[i] = 1.0 / k;
                    potential[i] = anchors[reading.piece as usize]
                        + reading.slope * reading.past * (k - 0.5 * rise * reading.share_slope * reading.past);
                }
            }
        }
    }

    /// Moves enthalpies, J/kg, by the temperatures that the linear equations gave, K, each as far as the first sharp corner of its curve.
    pub fn advance(&self, warming: &[f64], enthalpy: &mut [f64]) {
        for (i, (h, w)) in enthalpy.iter_mut().zip(warming).enumerate() {
            let curve = self.curves[self.body.material[i] as usize];
            *h = curve.stop_at_corner(self.piece[i], *h + self.heat_capacity[i] * w);
        }
    }

    /// Reads the enthalpies, J/kg, and sets conductances and films for the first time.
    pub fn begin(&mut self, enthalpy: &[f64], air_c: f64) {
        self.read(enthalpy);
        self.conduct();
        for skin in &mut self.skins {
            skin.through = 0.0;
        }
        self.films(air_c, FIRST_FILM_ROUNDS);
    }

    /// Brings conductances and films into line with the last reading, the first of its equation or a later one.
    pub fn settle(&mut self, air_c: f64, first: bool) {
        if self.varies {
            self.conduct();
        }
        if self.varies || self.films_vary {
            self.films(air_c, if first { FILM_ROUNDS.0 } else { FILM_ROUNDS.1 });
        }
    }

    /// Conductances between cells.
    fn conduct(&mut self) {
        let n = self.mass_kg.len();
        if !self.varies {
            for (resistivity, &material) in self.resistivity.iter_mut().zip(&self.body.material) {
                *resistivity = 1.0 / self.body.materials[material as usize].conductivity_w_per_mk(0.0);
            }
        }
        for axis in 0..3 {
            if self.body.counts[axis] < 2 {
                continue;
            }
            let stride = self.strides[axis];
            let links = &self.body.links[axis];
            let out = &mut self.links[axis][self.margin..self.margin + n];
            let reach = n - stride;
            let (here, next) = (&self.resistivity[..reach], &self.resistivity[stride..stride + reach]);
            let (near, far, fixed) = (&links.near[..reach], &links.far[..reach], &links.fixed[..reach]);
            let out = &mut out[..reach];
            if !self.varies {
                for i in 0..reach {
                    out[i] = 1.0 / (near[i] * here[i] + far[i] * next[i] + fixed[i]);
                }
                continue;
            }
            let t = &self.temperature_c[self.margin..self.margin + n];
            let (t, next_t) = (&t[..reach], &t[stride..stride + reach]);
            let (potential, next_potential) = (&self.potential[..reach], &self.potential[stride..stride + reach]);
            let material = &self.body.material[..n];
            let (material, next_material) = (&material[..reach], &material[stride..stride + reach]);
            for i in 0..reach {
                let difference = next_t[i] - t[i];
                let rise = next_potential[i] - potential[i];
                // One division, whichever way.
                let along =
                    material[i] == next_material[i] && difference.abs() > MIN_DIFFERENCE_K && fixed[i].is_finite();
                let (over, under) = if along {
                    (rise, (near[i] + far[i]) * difference + fixed[i] * rise)
                } else {
                    (1.0, near[i] * here[i] + far[i] * next[i] + fixed[i])
                };
                out[i] = over / under;
            }
        }
    }

    /// Films and surface temperatures.
    fn films(&mut self, air_c: f64, rounds: usize) {
        for _ in 0..rounds {
            for side in self.skins.chunk_by_mut(|one, next| one.face.side == next.face.side) {
                let Some(group) = side.first().and_then(|skin| self.body.groups.get(skin.face.side)) else { continue };
                let exposure = group.exposure;
                let cell_c = |skin: &Skin| self.temperature_c[self.margin + skin.face.cell];
                let surface_c = |skin: &Skin| air_c + skin.through * skin.film * (cell_c(skin) - air_c);
                let convection = match exposure.film {
                    Film::Insulated | Film::Held => 0.0,
                    Film::Given(coefficient) => exposure.factor * coefficient,
                    Film::Natural => {
                        // At the mean temperature of the surface.
                        let area: f64 = side.iter().map(|skin| skin.face.area).sum();
                        let sum: f64 = side.iter().map(|skin| skin.face.area * surface_c(skin)).sum();
                        exposure.factor * natural_w_per_m2k(group.facing, group.length_m, sum / area, air_c)
                    }
                };
                for skin in side {
                    skin.film = if exposure.film == Film::Held {
                        0.0
                    } else {
                        let radiation = radiation_w_per_m2k(exposure.emissivity, surface_c(skin), air_c);
                        1.0 / (convection + radiation).max(MIN_FILM)
                    };
                    let inner = skin.face.half * self.resistivity[skin.face.cell] + skin.face.fixed;
                    skin.through = 1.0 / (skin.film + exposure.resistance_m2k_per_w + inner);
                }
            }
        }
    }

    /// Heat into each cell, into [`Field::flow_w`]; returns that from the air into all of them, W.
    pub fn flow(&mut self, air_c: f64) -> f64 {
        let (n, m) = (self.mass_kg.len(), self.margin);
        let [_, sy, sz] = self.strides;
        let t = &self.temperature_c;
        let [gx, gy, gz] = &self.links;
        let (tc, te, tw) = (&t[m..m + n], &t[m + 1..m + 1 + n], &t[m - 1..m - 1 + n]);
        let (tn, ts) = (&t[m + sy..m + sy + n], &t[m - sy..m - sy + n]);
        let (tu, td) = (&t[m + sz..m + sz + n], &t[m - sz..m - sz + n]);
        let (ge, gw) = (&gx[m..m + n], &gx[m - 1..m - 1 + n]);
        let (gn, gs) = (&gy[m..m + n], &gy[m - sy..m - sy + n]);
        let (gu, gd) = (&gz[m..m + n], &gz[m - sz..m - sz + n]);
        let out = &mut self.flow_w[..n];
        for i in 0..n {
            let c = tc[i];
            out[i] = (ge[i] * (te[i] - c) - gw[i] * (c - tw[i]))
                + (gn[i] * (tn[i] - c) - gs[i] * (c - ts[i]))
                + (gu[i] * (tu[i] - c) - gd[i] * (c - td[i]));
        }
        let mut total = 0.0;
        for skin in &self.skins {
            let heat = skin.face.area * skin.through * (air_c - tc[skin.face.cell]);
            out[skin.face.cell] += heat;
            total += heat;
        }
        total
    }

    /// Writes the matrix `M c + θ L`, J/K, into a stencil, whose factor stays as it is; `theta` in s.
    pub fn assemble(&mut self, theta: f64, stencil: &mut Stencil) {
        let (n, m) = (self.mass_kg.len(), self.margin);
        self.assembled.copy_from_slice(&self.heat_capacity);
        {
            let diagonal = &mut stencil.diagonal[..n];
            let (mass, capacity) = (&self.mass_kg[..n], &self.heat_capacity[..n]);
            for i in 0..n {
                diagonal[i] = mass[i] * capacity[i];
            }
            for axis in 0..3 {
                if self.body.counts[axis] < 2 {
                    continue;
                }
                let stride = self.strides[axis];
                for (out, link) in stencil.links[axis].iter_mut().zip(&self.links[axis]) {
                    *out = theta * link;
                }
                let links = &stencil.links[axis];
                let (next, before) = (&links[m..m + n], &links[m - stride..m - stride + n]);
                for i in 0..n {
                    diagonal[i] += next[i] + before[i];
                }
            }
            for skin in &self.skins {
                diagonal[skin.face.cell] += theta * skin.face.area * skin.through;
            }
        }
    }

    /// The bar as it was read last.
    pub fn sample(&self, time_s: f64, air_c: f64) -> Sample {
        let temperature = self.temperatures_c();
        let mut sample = Sample {
            time_s,
            ambient_c: air_c,
            centre_c: self.body.centre.iter().map(|&(cell, weight)| weight * temperature[cell]).sum(),
            surface_c: 0.0,
            mean_c: 0.0,
            corner_bar_c: f64::NEG_INFINITY,
            melted_share: 0.0,
            coolest_c: f64::INFINITY,
            warmest_c: f64::NEG_INFINITY,
            least_melted: f64::INFINITY,
            most_melted: f64::NEG_INFINITY,
            warmest_surface_c: f64::NEG_INFINITY,
        };
        let mut bar_kg = 0.0;
        for (((&t, &share), &mass), &material) in
            temperature.iter().zip(&self.share).zip(&self.mass_kg).zip(&self.body.material)
        {
            if material != BAR {
                continue;
            }
            bar_kg += mass;
            sample.mean_c += mass * t;
            sample.melted_share += mass * share;
            sample.coolest_c = sample.coolest_c.min(t);
            sample.warmest_c = sample.warmest_c.max(t);
            sample.least_melted = sample.least_melted.min(share);
            sample.most_melted = sample.most_melted.max(share);
        }
        sample.mean_c /= bar_kg;
        sample.melted_share /= bar_kg;
        let mean_c = |bar: &Vec<(usize, f64)>| bar.iter().map(|&(cell, weight)| weight * temperature[cell]).sum();
        sample.corner_bar_c = self.body.corner_bars.iter().map(mean_c).fold(f64::NEG_INFINITY, f64::max);
        if self.body.corner_bars.is_empty() {
            sample.corner_bar_c = sample.mean_c;
        }
        let (mut area, mut sum) = (0.0, 0.0);
        for skin in self.skins.iter().filter(|skin| self.body.material[skin.face.cell] == BAR) {
            let t = temperature[skin.face.cell];
            let inner = skin.face.half * self.resistivity[skin.face.cell] + skin.face.fixed;
            let surface_c = t - skin.through * inner * (t - air_c);
            area += skin.face.area;
            sum += skin.face.area * surface_c;
            sample.warmest_surface_c = sample.warmest_surface_c.max(surface_c);
        }
        if area > 0.0 {
            sample.surface_c = sum / area;
        } else {
            (sample.surface_c, sample.warmest_surface_c) = (sample.mean_c, sample.warmest_c);
        }
        sample
    }
}
