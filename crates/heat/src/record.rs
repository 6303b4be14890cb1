//! Results of a run: history, events, energy.

/// A quantity that can be read off a bar at any time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Probe {
    /// Temperature in the middle of the bar, °C.
    Centre,
    /// Mean temperature of the bare or wrapped faces of the bar, °C; of the whole bar when it has none.
    Surface,
    /// Temperature of the warmest spot of those faces, °C.
    WarmestSurface,
    /// Mean temperature of the bar, °C; of several in a box, of all of them.
    Mean,
    /// Mean temperature of a bar at a corner of a box, which follows the air first, °C: the warmer of one at the top and one at the bottom; of one alone [`Probe::Mean`].
    CornerBar,
    /// Coolest cell of the bar, °C.
    Coolest,
    /// Warmest cell of the bar, °C.
    Warmest,
    /// Share of the bar that is liquid, 0 to 1.
    Melted,
    /// Melted share of the cell that has melted least.
    LeastMelted,
    /// Melted share of the cell that has melted most.
    MostMelted,
}

/// Direction in which a level is crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crossing {
    /// Down to the level or below.
    Falls,
    /// Up to the level or above.
    Rises,
}

/// An event to look for: the first time a probe reaches a level.
///
/// "Every cell below 30 °C" is [`Probe::Warmest`] falling to 30, "some cell has melted by half" is [`Probe::MostMelted`] rising to 0.5.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    /// What is watched.
    pub probe: Probe,
    /// From which side.
    pub crossing: Crossing,
    /// °C or share.
    pub level: f64,
}

impl Watch {
    /// Whether a value has reached the level.
    pub(crate) fn reached(&self, value: f64) -> bool {
        match self.crossing {
            Crossing::Falls => value <= self.level,
            Crossing::Rises => value >= self.level,
        }
    }
}

/// The bar at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// s.
    pub time_s: f64,
    /// Air, °C.
    pub ambient_c: f64,
    /// [`Probe::Centre`].
    pub centre_c: f64,
    /// [`Probe::Surface`].
    pub surface_c: f64,
    /// [`Probe::WarmestSurface`].
    pub warmest_surface_c: f64,
    /// [`Probe::Mean`].
    pub mean_c: f64,
    /// [`Probe::CornerBar`].
    pub corner_bar_c: f64,
    /// [`Probe::Coolest`].
    pub coolest_c: f64,
    /// [`Probe::Warmest`].
    pub warmest_c: f64,
    /// [`Probe::Melted`].
    pub melted_share: f64,
    /// [`Probe::LeastMelted`].
    pub least_melted: f64,
    /// [`Probe::MostMelted`].
    pub most_melted: f64,
}

impl Sample {
    /// Value of a probe, °C or a share.
    pub fn value(&self, probe: Probe) -> f64 {
        match probe {
            Probe::Centre => self.centre_c,
            Probe::Surface => self.surface_c,
            Probe::WarmestSurface => self.warmest_surface_c,
            Probe::Mean => self.mean_c,
            Probe::CornerBar => self.corner_bar_c,
            Probe::Coolest => self.coolest_c,
            Probe::Warmest => self.warmest_c,
            Probe::Melted => self.melted_share,
            Probe::LeastMelted => self.least_melted,
            Probe::MostMelted => self.most_melted,
        }
    }
}

/// Heat of the whole body over a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EnergyBalance {
    /// Gained by all cells, from their enthalpies at start and end, J.
    pub stored_j: f64,
    /// In through the faces, summed over the steps, J.
    pub through_faces_j: f64,
    /// Sum of the sizes of the steps' heats, J: what passed, either way.
    pub passed_j: f64,
    /// `|stored − through faces| / passed`, less what the rounding of the enthalpies can make of it; 0 when nothing passed.
    pub relative_gap: f64,
}

/// Computational work of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Work {
    /// Steps taken.
    pub steps: usize,
    /// Steps thrown away because their error was too large.
    pub rejected: usize,
    /// Steps thrown away because the iteration of a step did not end.
    pub failed: usize,
    /// Readings of all cells.
    pub newton: usize,
    /// Iterations of the linear solver.
    pub linear: usize,
}

/// Progress of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Time reached, s.
    pub time_s: f64,
    /// Time wanted, s.
    pub end_s: f64,
    /// Steps taken.
    pub steps: usize,
}
