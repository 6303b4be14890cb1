//! A space of formulas, and points that fill it.
//!
//! ```text
//! Σ x_i = 100 %,   least_i ≤ x_i ≤ most_i,   least_g ≤ Σ_{i in g} x_i ≤ most_g for every group g
//! ```
//! Groups that lie apart or inside each other make a tree: the whole is shared out among its branches, each branch among its own. A
//! part `x` of what is left, `s` above the least of all `m` branches that wait, is taken by the law it has on an even simplex, cut to what the others
//! leave:
//!
//! ```text
//! F(x) = 1 − (1 − (x − least)/s)^(m − 1),     x = F⁻¹(F(low) + u (F(high) − F(low)))
//! low = max(least, left − Σ most of the others),     high = min(most, left − Σ least of the others)
//! ```
//! So every `u` gives a formula inside the space. Where no upper bound cuts, the formulas fill it evenly.
//!
//! Good bars often lie on the edge, and in a space of many ingredients an even simplex hardly ever leaves one out. So every other point is an *edge
//! point*: branches in random order, some at their least, some at their most, the others anywhere between.
//!
//! Groups that cross (share some ingredients, but neither holds the other) cannot all be in the tree. The largest that can are; a point that misses a total
//! of one of the others is *rejected*. Where such a total is narrow, most points are.
//!
//! # Source
//! Law of one coordinate of a point spread evenly over a simplex (textbook; recalled); edge points: our own.

use barwright_reference::IngredientId;
use barwright_reference::apportion::apportion;
use microlp::{ComparisonOp, OptimizationDirection, Problem, Variable};

use crate::limits::SUM_TOLERANCE_PERCENT;
use crate::quasi_random::{Halton, Mixer};

/// A range narrower than this is one value, mass %.
const FIXED_PERCENT: f64 = 1e-9;

/// Share of the branches of an edge point that stay at their least: about a third of the shelf is in a bar (judgement).
const AT_LEAST: f64 = 0.4;

/// Share of the branches of an edge point that go to their most.
const AT_MOST: f64 = 0.1;

/// Ingredients whose total is limited.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Its name, for messages.
    pub name: String,
    /// Positions in [`Space::ingredients`].
    pub members: Vec<usize>,
    /// Least total, mass %.
    pub min_percent: f64,
    /// Most total, mass %.
    pub max_percent: f64,
}

/// A space of formulas.
#[derive(Debug, Clone, PartialEq)]
pub struct Space {
    /// Ingredients of the library, each once.
    pub ingredients: Vec<IngredientId>,
    /// Least mass % of each.
    pub min_percent: Vec<f64>,
    /// Most mass % of each.
    pub max_percent: Vec<f64>,
    /// Totals.
    pub groups: Vec<Group>,
    /// Price per kilogram of each.
    pub price: Option<Vec<f64>>,
}

/// Why there is no formula in a space.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SpaceError {
    /// No ingredients.
    #[error("the space has no ingredients")]
    Empty,
    /// A list of another length than the ingredients.
    #[error("{found} values of `{list}` for {expected} ingredients")]
    Length {
        /// Which list.
        list: &'static str,
        /// How many there are.
        found: usize,
        /// How many there must be.
        expected: usize,
    },
    /// An ingredient given twice.
    #[error("ingredient {second} of the space is the same as ingredient {first}")]
    Repeated {
        /// Position in the space.
        first: usize,
        /// Position in the space.
        second: usize,
    },
    /// Bounds that no amount satisfies.
    #[error("ingredient {ingredient}: at least {least} % and at most {most} %")]
    Contradiction {
        /// Position in the space.
        ingredient: usize,
        /// Least mass %.
        least: f64,
        /// Most mass %.
        most: f64,
    },
    /// An invalid price.
    #[error("ingredient {ingredient}: a price of {price}")]
    Price {
        /// Position in the space.
        ingredient: usize,
        /// What was given.
        price: f64,
    },
    /// A group without members, with one that is not in the space, or with one twice.
    #[error("total `{group}`: its members must be ingredients of the space, each once, and at least one")]
    Members {
        /// Its name.
        group: String,
    },
    /// Totals of a group that contradict each other.
    #[error("total `{group}`: at least {least} % and at most {most} %")]
    GroupContradiction {
        /// Its name.
        group: String,
        /// Least total.
        least: f64,
        /// Most total.
        most: f64,
    },
    /// The least amounts of the members exceed the most that the group may hold.
    #[error("total `{group}`: the least amounts in it add up to {sum} %, more than its most of {most} %")]
    GroupOver {
        /// Its name.
        group: String,
        /// Sum of the least of its members and inner groups.
        sum: f64,
        /// Most total.
        most: f64,
    },
    /// The most amounts of the members fall short of the least that the group must hold.
    #[error("total `{group}`: the most amounts in it add up to {sum} %, less than its least of {least} %")]
    GroupUnder {
        /// Its name.
        group: String,
        /// Sum of the most of its members and inner groups.
        sum: f64,
        /// Least total.
        least: f64,
    },
    /// The least amounts add up to more than the whole.
    #[error("the least amounts, of totals and of ingredients outside them, add up to {sum} %, more than 100 %")]
    LeastOverWhole {
        /// Their sum.
        sum: f64,
    },
    /// The most amounts do not fill the whole.
    #[error("the most amounts, of totals and of ingredients outside them, add up to {sum} %, less than 100 %")]
    MostUnderWhole {
        /// Their sum.
        sum: f64,
    },
    /// Groups that share ingredients and cannot all be satisfied.
    #[error("totals that share ingredients leave no formula together: {}", groups.join(", "))]
    Crossing {
        /// Names of the groups that cross others.
        groups: Vec<String>,
    },
}

/// An ingredient, a group or the whole.
#[derive(Debug, Clone)]
struct Branch {
    low: f64,
    high: f64,
    group: Option<usize>,
    /// Ingredient.
    leaf: Option<usize>,
    /// Branches inside it; they come after it.
    inner: Vec<usize>,
}

/// A space that has been checked, and fills itself with points.
#[derive(Debug, Clone)]
pub struct Filler {
    space: Space,
    /// The whole comes first.
    branches: Vec<Branch>,
    /// Groups outside the tree.
    crossing: Vec<usize>,
    sequence: Halton,
    seed: u64,
}

/// Buffers for [`Filler::point`].
#[derive(Debug, Clone, Default)]
pub struct FillBuffers {
    cube: Vec<f64>,
    totals: Vec<f64>,
    free: Vec<usize>,
}

impl Filler {
    /// Checks a space and prepares to fill it.
    ///
    /// # Arguments
    /// * `space`: bounds of 0 to 100 %.
    /// * `seed`: of the points.
    ///
    /// # Errors
    /// [`SpaceError`], naming the bound or group that cannot close to 100 %.
    ///
    /// # Example
    /// ```
    /// use barwright_reference::Library;
    /// use barwright_reformulate::space::{Filler, Group, Space};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let waxes = Group { name: "waxes".into(), members: vec![0, 1], min_percent: 20.0, max_percent: 35.0 };
    /// let space = Space {
    ///     ingredients: Library::builtin()?.by_id().map(|(id, _)| id).take(3).collect(),
    ///     min_percent: vec![0.0; 3],
    ///     max_percent: vec![100.0; 3],
    ///     groups: vec![waxes],
    ///     price: None,
    /// };
    /// let filler = Filler::new(&space, 20)?;
    /// let mut percent = Vec::new();
    /// assert!(filler.point(7, &mut Default::default(), &mut percent));
    /// assert!((20.0..=35.0).contains(&(percent[0] + percent[1])));
    /// assert!((percent.iter().sum::<f64>() - 100.0).abs() < 1e-9);
    /// # Ok(())
    /// # }
    /// ```
    pub fn new(space: &Space, seed: u64) -> Result<Self, SpaceError> {
        check(space)?;
        let (mut branches, crossing) = tree(space);
        close(space, &mut branches)?;
        if !crossing.is_empty() && !some_formula(space) {
            let groups = crossing.iter().map(|&group| space.groups[group].name.clone()).collect();
            return Err(SpaceError::Crossing { groups });
        }
        let free =
            |branch: &Branch| branch.inner.iter().filter(|&&one| !branches[one].is_fixed()).count().saturating_sub(1);
        let sequence = Halton::new(branches.iter().map(free).sum(), seed);
        Ok(Filler { space: space.clone(), branches, crossing, sequence, seed })
    }

    /// The space.
    pub fn space(&self) -> &Space {
        &self.space
    }

    /// Whether the space is a single formula.
    pub fn is_one_point(&self) -> bool {
        self.branches.iter().all(Branch::is_fixed)
    }

    /// Writes formula `number` of the space, mass %.
    ///
    /// # Returns
    /// False when it is rejected, which happens with crossing groups only.
    pub fn point(&self, number: u64, buffers: &mut FillBuffers, percent: &mut Vec<f64>) -> bool {
        let FillBuffers { cube, totals, free } = buffers;
        self.sequence.point(number / 2, cube);
        let mut edge = (number % 2 == 1).then(|| Mixer::new(&[self.seed, number]));
        let mut used = cube.iter();
        totals.clear();
        totals.resize(self.branches.len(), 0.0);
        percent.clear();
        percent.resize(self.space.ingredients.len(), 0.0);
        if let Some(whole) = totals.first_mut() {
            *whole = 100.0;
        }
        for (index, branch) in self.branches.iter().enumerate() {
            if let Some(leaf) = branch.leaf {
                percent[leaf] = totals[index];
                continue;
            }
            let mut left = totals[index];
            free.clear();
            for &one in &branch.inner {
                if self.branches[one].is_fixed() {
                    totals[one] = self.branches[one].low;
                    left -= totals[one];
                } else {
                    free.push(one);
                }
            }
            if let Some(mixer) = &mut edge {
                mixer.shuffle(free);
            }
            let sum = |of: fn(&Branch) -> f64| free.iter().map(|&one| of(&self.branches[one])).sum::<f64>();
            let (mut low_after, mut high_after) = (sum(|one| one.low), sum(|one| one.high));
            for (place, &one) in free.iter().enumerate() {
                let Branch { low: least, high: most, .. } = self.branches[one];
                let spare = left - low_after;
                low_after -= least;
                high_after -= most;
                let waiting = free.len() - place - 1;
                let low = least.max(left - high_after).min(most);
                let high = most.min(left - low_after).max(low);
                let share = if waiting == 0 {
                    left.clamp(least, most)
                } else {
                    let u = used.next().copied().unwrap_or(0.5);
                    if edge.is_some() { on_edge(low, high, u) } else { evenly(least, spare, waiting, low, high, u) }
                };
                totals[one] = share;
                left -= share;
            }
        }
        self.crossing.iter().all(|&group| holds(&self.space.groups[group], percent))
    }

    /// Moves mass from one ingredient to another, as far as the space allows.
    ///
    /// # Arguments
    /// * `percent`: a formula of the space.
    /// * `from`, `to`: positions.
    /// * `amount`: how much at most, mass %.
    ///
    /// # Returns
    /// How much was moved, mass %.
    pub fn transfer(&self, percent: &mut [f64], from: usize, to: usize, amount: f64) -> f64 {
        let mut room =
            amount.min(percent[from] - self.space.min_percent[from]).min(self.space.max_percent[to] - percent[to]);
        for group in &self.space.groups {
            let total = || group.members.iter().map(|&i| percent[i]).sum::<f64>();
            match (group.members.contains(&from), group.members.contains(&to)) {
                (true, false) => room = room.min(total() - group.min_percent),
                (false, true) => room = room.min(group.max_percent - total()),
                _ => {}
            }
        }
        let moved = if from == to { 0.0 } else { room.max(0.0) };
        if moved > 0.0 {
            percent[from] = (percent[from] - moved).max(self.space.min_percent[from]);
            percent[to] = (percent[to] + moved).min(self.space.max_percent[to]);
        }
        moved
    }

    /// Rounds a formula to whole steps that add up to 100 % again ([`apportion`]).
    ///
    /// # Arguments
    /// * `percent`: a formula of the space.
    /// * `step`: mass %, a fraction of 100.
    ///
    /// # Returns
    /// Mass %; `None` when the rounded formula is not in the space.
    ///
    /// # Example
    /// ```
    /// use barwright_reference::Library;
    /// use barwright_reformulate::space::{Filler, Space};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let ingredients = Library::builtin()?.by_id().map(|(id, _)| id).take(3).collect();
    /// let space = Space { ingredients, min_percent: vec![0.0; 3], max_percent: vec![100.0; 3], groups: vec![], price: None };
    /// let rounded = Filler::new(&space, 20)?.rounded(&[33.37, 33.37, 33.26], 0.5);
    /// assert_eq!(rounded, Some(vec![33.5, 33.5, 33.0]));
    /// # Ok(())
    /// # }
    /// ```
    pub fn rounded(&self, percent: &[f64], step: f64) -> Option<Vec<f64>> {
        let rounded = apportion(percent, 100.0, step);
        self.contains(&rounded).then_some(rounded)
    }

    /// Whether a formula is in the space, within [`SUM_TOLERANCE_PERCENT`].
    pub fn contains(&self, percent: &[f64]) -> bool {
        let space = &self.space;
        let inside = |((p, least), most): ((&f64, &f64), &f64)| {
            *p >= least - SUM_TOLERANCE_PERCENT && *p <= most + SUM_TOLERANCE_PERCENT
        };
        percent.len() == space.ingredients.len()
            && (percent.iter().sum::<f64>() - 100.0).abs() <= SUM_TOLERANCE_PERCENT
            && percent.iter().zip(&space.min_percent).zip(&space.max_percent).all(inside)
            && space.groups.iter().all(|group| holds(group, percent))
    }
}

impl Branch {
    fn is_fixed(&self) -> bool {
        self.high - self.low <= FIXED_PERCENT
    }
}

/// A share by its law on the even simplex, between what the others leave.
fn evenly(least: f64, spare: f64, waiting: usize, low: f64, high: f64, u: f64) -> f64 {
    if spare <= 0.0 {
        return low;
    }
    let power = waiting as f64;
    let above = |x: f64| (1.0 - (x - least) / spare).clamp(0.0, 1.0).powf(power);
    let (at_low, at_high) = (above(low), above(high));
    let share = least + spare * (1.0 - (at_low + u * (at_high - at_low)).powf(1.0 / power));
    share.clamp(low, high)
}

/// A share at one end, or anywhere between: what goes beyond an end stays there.
fn on_edge(low: f64, high: f64, u: f64) -> f64 {
    (low + (high - low) * (u - AT_LEAST) / (1.0 - AT_LEAST - AT_MOST)).clamp(low, high)
}

/// Whether a group has a total it may have.
fn holds(group: &Group, percent: &[f64]) -> bool {
    let total: f64 = group.members.iter().map(|&i| percent[i]).sum();
    total >= group.min_percent - SUM_TOLERANCE_PERCENT && total <= group.max_percent + SUM_TOLERANCE_PERCENT
}

/// Checks everything that one bound or group can have wrong by itself.
fn check(space: &Space) -> Result<(), SpaceError> {
    let count = space.ingredients.len();
    if count == 0 {
        return Err(SpaceError::Empty);
    }
    for (list, found) in [
        ("least", space.min_percent.len()),
        ("most", space.max_percent.len()),
        ("price", space.price.as_ref().map_or(count, Vec::len)),
    ] {
        if found != count {
            return Err(SpaceError::Length { list, found, expected: count });
        }
    }
    for (second, ingredient) in space.ingredients.iter().enumerate() {
        if let Some(first) = space.ingredients[..second].iter().position(|known| known == ingredient) {
            return Err(SpaceError::Repeated { first, second });
        }
    }
    let sound = |least: f64, most: f64| least >= 0.0 && most <= 100.0 && least <= most;
    for (ingredient, (&least, &most)) in space.min_percent.iter().zip(&space.max_percent).enumerate() {
        if !sound(least, most) {
            return Err(SpaceError::Contradiction { ingredient, least, most });
        }
    }
    for (ingredient, &price) in space.price.iter().flatten().enumerate() {
        if !(price >= 0.0 && price.is_finite()) {
            return Err(SpaceError::Price { ingredient, price });
        }
    }
    for Group { name, members, min_percent, max_percent } in &space.groups {
        let (group, least, most) = (name.clone(), *min_percent, *max_percent);
        let repeated = members.iter().enumerate().any(|(i, one)| *one >= count || members[..i].contains(one));
        if members.is_empty() || repeated {
            return Err(SpaceError::Members { group });
        }
        if !sound(least, most) {
            return Err(SpaceError::GroupContradiction { group, least, most });
        }
        let sum = |of: &[f64]| members.iter().map(|&one| of[one]).sum::<f64>();
        let (low, high) = (sum(&space.min_percent), sum(&space.max_percent));
        if low > most + SUM_TOLERANCE_PERCENT {
            return Err(SpaceError::GroupOver { group, sum: low, most });
        }
        if high < least - SUM_TOLERANCE_PERCENT {
            return Err(SpaceError::GroupUnder { group, sum: high, least });
        }
    }
    Ok(())
}

/// The tree of the groups, largest first, and the groups that have no place in it.
fn tree(space: &Space) -> (Vec<Branch>, Vec<usize>) {
    let inside = |inner: &[usize], outer: &[usize]| inner.iter().all(|one| outer.contains(one));
    let apart = |a: &[usize], b: &[usize]| !a.iter().any(|one| b.contains(one));
    let mut branches = vec![Branch { low: 100.0, high: 100.0, group: None, leaf: None, inner: Vec::new() }];
    let mut crossing = Vec::new();
    let mut order: Vec<usize> = (0..space.groups.len()).collect();
    order.sort_by_key(|&group| std::cmp::Reverse(space.groups[group].members.len()));
    for group in order {
        let Group { members, min_percent, max_percent, .. } = &space.groups[group];
        let members_of = |branch: &Branch| branch.group.map(|group| &space.groups[group].members);
        let fits =
            |branch: &Branch| members_of(branch).is_none_or(|known| inside(members, known) || apart(members, known));
        if !branches.iter().all(fits) {
            crossing.push(group);
            continue;
        }
        // The last that holds it is the smallest.
        let outer = branches.iter().rposition(|branch| members_of(branch).is_none_or(|known| inside(members, known)));
        let own = branches.len();
        branches.push(Branch {
            low: *min_percent,
            high: *max_percent,
            group: Some(group),
            leaf: None,
            inner: Vec::new(),
        });
        branches[outer.unwrap_or(0)].inner.push(own);
    }
    let groups = branches.len();
    for (leaf, (&low, &high)) in space.min_percent.iter().zip(&space.max_percent).enumerate() {
        let holds = |branch: &Branch| branch.group.is_none_or(|group| space.groups[group].members.contains(&leaf));
        let outer = branches[..groups].iter().rposition(holds);
        let own = branches.len();
        branches.push(Branch { low, high, group: None, leaf: Some(leaf), inner: Vec::new() });
        branches[outer.unwrap_or(0)].inner.push(own);
    }
    (branches, crossing)
}

/// Narrows every range to what the others leave, from the inside out and back.
fn close(space: &Space, branches: &mut [Branch]) -> Result<(), SpaceError> {
    let sums = |branches: &[Branch], index: usize| {
        let inner = || branches[index].inner.iter().map(|&one| &branches[one]);
        (inner().map(|one| one.low).sum::<f64>(), inner().map(|one| one.high).sum::<f64>())
    };
    for index in (0..branches.len()).rev() {
        if branches[index].leaf.is_some() {
            continue;
        }
        let (low, high) = sums(branches, index);
        let branch = &mut branches[index];
        let over = low > branch.high + SUM_TOLERANCE_PERCENT;
        let under = high < branch.low - SUM_TOLERANCE_PERCENT;
        let name = branch.group.map(|group| space.groups[group].name.clone());
        match name {
            Some(group) if over => return Err(SpaceError::GroupOver { group, sum: low, most: branch.high }),
            Some(group) if under => return Err(SpaceError::GroupUnder { group, sum: high, least: branch.low }),
            None if over => return Err(SpaceError::LeastOverWhole { sum: low }),
            None if under => return Err(SpaceError::MostUnderWhole { sum: high }),
            Some(_) => {
                branch.high = high.min(branch.high).max(branch.low);
                branch.low = low.max(branch.low).min(branch.high);
            }
            None => {}
        }
    }
    for index in 0..branches.len() {
        let (low, high) = sums(branches, index);
        for place in 0..branches[index].inner.len() {
            let own = branches[index].inner[place];
            let Branch { low: least, high: most, .. } = branches[own];
            branches[own].low = least.max(branches[index].low - (high - most)).min(most);
            branches[own].high = most.min(branches[index].high - (low - least)).max(branches[own].low);
        }
    }
    Ok(())
}

/// Whether some formula satisfies every bound and every group: a linear program without an aim.
fn some_formula(space: &Space) -> bool {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let bounds = space.min_percent.iter().zip(&space.max_percent);
    let shares: Vec<Variable> = bounds.map(|(&least, &most)| problem.add_var(0.0, (least, most))).collect();
    let total = |members: &mut dyn Iterator<Item = usize>| -> Vec<(Variable, f64)> {
        members.map(|one| (shares[one], 1.0)).collect()
    };
    problem.add_constraint(total(&mut (0..shares.len())), ComparisonOp::Eq, 100.0);
    for group in &space.groups {
        let row = total(&mut group.members.iter().copied());
        problem.add_constraint(row.clone(), ComparisonOp::Ge, group.min_percent);
        problem.add_constraint(row, ComparisonOp::Le, group.max_percent);
    }
    problem.solve().is_ok()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use barwright_reference::Library;

    fn ids(count: usize) -> Vec<IngredientId> {
        Library::builtin().unwrap().by_id().map(|(id, _)| id).take(count).collect()
    }

    fn space(least: &[f64], most: &[f64], groups: &[(&str, &[usize], f64, f64)]) -> Space {
        let group = |&(name, members, least, most): &(&str, &[usize], f64, f64)| Group {
            name: name.to_owned(),
            members: members.to_vec(),
            min_percent: least,
            max_percent: most,
        };
        Space {
            ingredients: ids(least.len()),
            min_percent: least.to_vec(),
            max_percent: most.to_vec(),
            groups: groups.iter().map(group).collect(),
            price: None,
        }
    }

    fn points(filler: &Filler, count: u64) -> Vec<Vec<f64>> {
        let mut buffers = FillBuffers::default();
        let mut found = Vec::new();
        for number in 0..count {
            let mut percent = Vec::new();
            if filler.point(number, &mut buffers, &mut percent) {
                found.push(percent);
            }
        }
        found
    }

    #[test]
    fn every_point_is_in_the_space() {
        let nested: &[(&str, &[usize], f64, f64)] =
            &[("solids", &[0, 1, 2, 3], 30.0, 60.0), ("waxes", &[0, 1], 20.0, 35.0), ("oils", &[4, 5], 10.0, 55.0)];
        let cases = [
            space(&[0.0; 6], &[100.0; 6], &[]),
            space(&[0.0; 6], &[100.0; 6], nested),
            space(&[5.0, 0.0, 10.0, 3.0, 0.0, 0.0, 2.0], &[20.0, 30.0, 10.0, 100.0, 30.0, 40.0, 9.0], nested),
            space(&[1.0; 40], &[9.0; 40], &[("waxes", &[0, 1, 2, 3, 4], 20.0, 20.5)]),
            space(&[0.0; 40], &[100.0; 40], &[]),
        ];
        for (case, space) in cases.iter().enumerate() {
            let filler = Filler::new(space, 3).unwrap();
            let found = points(&filler, 4000);
            assert_eq!(found.len(), 4000);
            for percent in &found {
                assert!(filler.contains(percent), "case {case}: {percent:?}");
            }
        }
    }

    #[test]
    fn an_even_simplex_is_filled_evenly() {
        // Even points alone: each share has mean 100/n and the law F(x) = 1 − (1 − x)^(n − 1).
        let filler = Filler::new(&space(&[0.0; 4], &[100.0; 4], &[]), 5).unwrap();
        let found = points(&filler, 8000);
        let even: Vec<&Vec<f64>> = found.iter().step_by(2).collect();
        for i in 0..4 {
            let below = even.iter().filter(|percent| percent[i] < 20.0).count() as f64 / even.len() as f64;
            assert!((below - (1.0 - 0.8_f64.powi(3))).abs() < 0.02, "{below}");
        }
        let edge: Vec<&Vec<f64>> = found.iter().skip(1).step_by(2).collect();
        let without = |points: &[&Vec<f64>]| points.iter().filter(|percent| percent.contains(&0.0)).count();
        assert_eq!(without(&even), 0);
        assert!(without(&edge) > edge.len() / 2);
    }

    /// Of four with at least 4, 8, 12 and 16 % each takes its share of the 60 % above them by the same law; a bound that cuts nothing changes nothing.
    #[test]
    fn what_is_above_the_least_is_shared_out_evenly() {
        let least = [4.0, 8.0, 12.0, 16.0];
        for most in [100.0, 80.0] {
            let filler = Filler::new(&space(&least, &[most; 4], &[]), 5).unwrap();
            let found = points(&filler, 8000);
            let even: Vec<&Vec<f64>> = found.iter().step_by(2).collect();
            for i in 0..4 {
                for part in [0.1, 0.2, 0.5] {
                    let below = even.iter().filter(|percent| percent[i] < least[i] + 60.0 * part).count();
                    let (share, expected) = (below as f64 / even.len() as f64, 1.0 - (1.0_f64 - part).powi(3));
                    assert!((share - expected).abs() < 0.02, "ingredient {i}, {part}: {share} is not {expected}");
                }
            }
        }
    }

    #[test]
    fn an_edge_point_takes_its_ends_in_their_shares() {
        let share = |u: f64| on_edge(10.0, 30.0, u);
        // Four in ten at the least, one in ten at the most, the rest evenly between.
        for (u, expected) in
            [(0.0, 10.0), (0.39, 10.0), (0.4, 10.0), (0.5, 14.0), (0.65, 20.0), (0.9, 30.0), (0.95, 30.0)]
        {
            assert!((share(u) - expected).abs() < 1e-9, "{u}: {}", share(u));
        }
    }

    #[test]
    fn a_share_follows_the_law_of_the_even_simplex() {
        // One other waits: evenly. Two wait: F = 1 − (1 − x/s)², three quarters of which lie below half.
        assert!((evenly(0.0, 60.0, 1, 0.0, 60.0, 0.3) - 18.0).abs() < 1e-9);
        assert!((evenly(10.0, 60.0, 2, 10.0, 70.0, 0.75) - 40.0).abs() < 1e-9);
        // Cut at 40: from 0 to 0.75 of F; its middle is at 1 − √0.625.
        let middle = evenly(10.0, 60.0, 2, 10.0, 40.0, 0.5);
        assert!((middle - (10.0 + 60.0 * (1.0 - 0.625_f64.sqrt()))).abs() < 1e-9, "{middle}");
        assert_eq!(evenly(10.0, 0.0, 2, 10.0, 40.0, 0.5), 10.0);
    }

    #[test]
    fn a_formula_is_in_the_space_or_not() {
        let bounds = space(&[10.0, 0.0, 0.0], &[60.0, 50.0, 100.0], &[("both", &[0, 1], 20.0, 70.0)]);
        let filler = Filler::new(&bounds, 20).unwrap();
        assert!(filler.contains(&[30.0, 20.0, 50.0]) && filler.contains(&[10.0 - 1e-7, 20.0, 70.0 + 1e-7]));
        for outside in [
            &[30.0, 20.0][..],
            &[30.0, 20.0, 49.0],
            &[9.0, 20.0, 71.0],
            &[61.0, 5.0, 34.0],
            &[10.0, 5.0, 85.0],
            &[40.0, 40.0, 20.0],
            &[30.0, 70.0, 0.0],
        ] {
            assert!(!filler.contains(outside), "{outside:?}");
        }
    }

    #[test]
    fn rounding_stays_in_the_space_or_is_none() {
        let free = Filler::new(&space(&[0.0; 3], &[100.0; 3], &[]), 20).unwrap();
        assert_eq!(free.rounded(&[33.37, 33.37, 33.26], 0.5), Some(vec![33.5, 33.5, 33.0]));
        let tight = Filler::new(&space(&[0.0; 3], &[33.4, 100.0, 100.0], &[]), 20).unwrap();
        assert_eq!(tight.rounded(&[33.37, 33.37, 33.26], 0.5), None);
    }

    #[test]
    fn one_point_and_fixed_ingredients() {
        for (space, answer) in [
            (space(&[30.0, 70.0], &[30.0, 70.0], &[]), vec![30.0, 70.0]),
            (space(&[0.0, 0.0, 0.0], &[20.0, 30.0, 50.0], &[]), vec![20.0, 30.0, 50.0]),
            (space(&[40.0, 60.0], &[100.0, 100.0], &[]), vec![40.0, 60.0]),
            (space(&[0.0, 10.0, 70.0], &[100.0, 100.0, 70.0], &[("a", &[0], 20.0, 90.0)]), vec![20.0, 10.0, 70.0]),
            (space(&[0.0], &[100.0], &[]), vec![100.0]),
        ] {
            let filler = Filler::new(&space, 1).unwrap();
            assert!(filler.is_one_point());
            for percent in points(&filler, 9) {
                assert!(percent.iter().zip(&answer).all(|(a, b)| (a - b).abs() < 1e-9), "{percent:?}");
            }
        }
        let filler = Filler::new(&space(&[10.0, 0.0, 0.0], &[10.0, 100.0, 100.0], &[]), 1).unwrap();
        assert!(!filler.is_one_point());
        assert!(points(&filler, 50).iter().all(|percent| percent[0] == 10.0 && filler.contains(percent)));
    }

    #[test]
    fn what_cannot_close_is_named() {
        let fault = |space: Space| Filler::new(&space, 0).err();
        let group = "waxes".to_owned();
        let waxes = |least: f64, most: f64| -> Vec<(&'static str, &'static [usize], f64, f64)> {
            vec![("waxes", &[0, 1], least, most)]
        };
        assert_eq!(fault(space(&[], &[], &[])), Some(SpaceError::Empty));
        assert_eq!(
            fault(space(&[0.0, 0.0], &[100.0], &[])),
            Some(SpaceError::Length { list: "most", found: 1, expected: 2 })
        );
        assert_eq!(
            fault(space(&[0.0, 30.0], &[100.0, 20.0], &[])),
            Some(SpaceError::Contradiction { ingredient: 1, least: 30.0, most: 20.0 })
        );
        assert!(matches!(fault(space(&[f64::NAN], &[100.0], &[])), Some(SpaceError::Contradiction { .. })));
        assert_eq!(fault(space(&[60.0, 50.0], &[100.0, 100.0], &[])), Some(SpaceError::LeastOverWhole { sum: 110.0 }));
        assert_eq!(fault(space(&[0.0, 0.0], &[40.0, 50.0], &[])), Some(SpaceError::MostUnderWhole { sum: 90.0 }));
        assert_eq!(
            fault(space(&[20.0, 20.0, 0.0], &[100.0; 3], &waxes(20.0, 35.0))),
            Some(SpaceError::GroupOver { group: group.clone(), sum: 40.0, most: 35.0 })
        );
        assert_eq!(
            fault(space(&[0.0; 3], &[5.0, 5.0, 100.0], &waxes(20.0, 35.0))),
            Some(SpaceError::GroupUnder { group: group.clone(), sum: 10.0, least: 20.0 })
        );
        assert_eq!(
            fault(space(&[0.0; 3], &[100.0, 100.0, 60.0], &waxes(20.0, 35.0))),
            Some(SpaceError::MostUnderWhole { sum: 95.0 })
        );
        assert_eq!(
            fault(space(&[0.0; 3], &[100.0; 3], &waxes(40.0, 35.0))),
            Some(SpaceError::GroupContradiction { group: group.clone(), least: 40.0, most: 35.0 })
        );
        assert_eq!(
            fault(space(&[0.0; 3], &[100.0; 3], &[("waxes", &[0, 7], 0.0, 50.0)])),
            Some(SpaceError::Members { group })
        );
        let mut twice = space(&[0.0; 3], &[100.0; 3], &[]);
        twice.ingredients[2] = twice.ingredients[0];
        assert_eq!(fault(twice), Some(SpaceError::Repeated { first: 0, second: 2 }));
        let mut priced = space(&[0.0; 2], &[100.0; 2], &[]);
        priced.price = Some(vec![1.0, -2.0]);
        assert_eq!(fault(priced), Some(SpaceError::Price { ingredient: 1, price: -2.0 }));
    }

    #[test]
    fn bounds_outside_nothing_and_all_are_refused() {
        let fault = |space: Space| Filler::new(&space, 0).err();
        for (least, most) in [(-0.1, 50.0), (10.0, 100.1), (-0.1, 100.1)] {
            let own = fault(space(&[least, 0.0], &[most, 100.0], &[]));
            assert_eq!(own, Some(SpaceError::Contradiction { ingredient: 0, least, most }));
            let total = fault(space(&[0.0; 3], &[100.0; 3], &[("waxes", &[0, 1], least, most)]));
            assert_eq!(total, Some(SpaceError::GroupContradiction { group: "waxes".into(), least, most }));
        }
    }

    #[test]
    fn totals_are_taken_with_rounding() {
        let fault = |least: [f64; 3], most: [f64; 3], total: (f64, f64)| {
            Filler::new(&space(&least, &most, &[("waxes", &[0, 1], total.0, total.1)]), 0).err()
        };
        assert_eq!(fault([20.0, 20.0 + 1e-7, 0.0], [100.0; 3], (0.0, 40.0)), None);
        assert_eq!(fault([0.0; 3], [20.0, 20.0 - 1e-7, 100.0], (40.0, 100.0)), None);
        let over = fault([20.0, 20.1, 0.0], [100.0; 3], (0.0, 40.0));
        assert!(matches!(over, Some(SpaceError::GroupOver { .. })), "{over:?}");
        let under = fault([0.0; 3], [20.0, 19.9, 100.0], (40.0, 100.0));
        assert!(matches!(under, Some(SpaceError::GroupUnder { .. })), "{under:?}");
    }

    /// What an inner total must hold or may hold counts, not only the ingredients in it.
    #[test]
    fn totals_inside_one_another_must_agree() {
        let fault = |outer: (f64, f64), inner: (f64, f64), most: f64| {
            let groups: [(&str, &[usize], f64, f64); 2] =
                [("solids", &[0, 1, 2], outer.0, outer.1), ("waxes", &[0, 1], inner.0, inner.1)];
            Filler::new(&space(&[0.0; 4], &[100.0, 100.0, most, 100.0], &groups), 0).err()
        };
        let group = "solids".to_owned();
        assert_eq!(
            fault((0.0, 30.0), (35.0, 60.0), 100.0),
            Some(SpaceError::GroupOver { group: group.clone(), sum: 35.0, most: 30.0 })
        );
        assert_eq!(
            fault((50.0, 90.0), (0.0, 20.0), 10.0),
            Some(SpaceError::GroupUnder { group, sum: 30.0, least: 50.0 })
        );
        assert_eq!(fault((0.0, 36.0), (35.0, 60.0), 100.0), None);
        assert_eq!(fault((30.0, 90.0), (0.0, 20.0), 10.0), None);
    }

    #[test]
    fn crossing_groups_reject_points_or_are_named() {
        let crossing = |least: f64| {
            space(&[0.0; 4], &[100.0; 4], &[("waxes", &[0, 1], 20.0, 40.0), ("local", &[1, 2], least, 100.0)])
        };
        let filler = Filler::new(&crossing(50.0), 1).unwrap();
        let found = points(&filler, 2000);
        assert!(found.len() > 200 && found.len() < 1800, "{}", found.len());
        assert!(found.iter().all(|percent| filler.contains(percent)));
        let mut impossible = crossing(50.0);
        impossible.max_percent = vec![100.0, 10.0, 30.0, 100.0];
        assert_eq!(
            Filler::new(&impossible, 1).err(),
            Some(SpaceError::GroupUnder { group: "local".into(), sum: 40.0, least: 50.0 })
        );
        // The least of the two in it are more than it may hold, whatever else is asked.
        let mut impossible =
            space(&[0.0; 4], &[100.0; 4], &[("waxes", &[0, 1], 20.0, 40.0), ("local", &[1, 2], 0.0, 30.0)]);
        impossible.min_percent = vec![0.0, 15.0, 20.0, 0.0];
        assert_eq!(
            Filler::new(&impossible, 1).err(),
            Some(SpaceError::GroupOver { group: "local".into(), sum: 35.0, most: 30.0 })
        );
        // Each alone is possible: at most 40 % of the first two, at least 80 % of the middle two, at most 50 % of the third.
        let mut impossible = crossing(95.0);
        impossible.max_percent = vec![100.0, 100.0, 50.0, 100.0];
        assert_eq!(Filler::new(&impossible, 1).err(), Some(SpaceError::Crossing { groups: vec!["local".into()] }));
    }

    #[test]
    fn transfers_stay_in_the_space() {
        let crossing = space(
            &[0.0, 5.0, 0.0, 0.0],
            &[30.0, 100.0, 100.0, 60.0],
            &[("waxes", &[0, 1], 20.0, 40.0), ("local", &[1, 2], 30.0, 70.0)],
        );
        let filler = Filler::new(&crossing, 1).unwrap();
        let mut mixer = Mixer::new(&[1]);
        let mut moved = 0;
        for mut percent in points(&filler, 500) {
            for _ in 0..20 {
                moved += usize::from(
                    filler.transfer(&mut percent, mixer.below(4), mixer.below(4), 20.0 * mixer.fraction()) > 0.0,
                );
                assert!(filler.contains(&percent), "{percent:?}");
            }
        }
        assert!(moved > 1000, "{moved}");
    }
}
