//! The best trade-offs: points that no other point beats.
//!
//! ```text
//! a beats b (dominates):  a_i ≤ b_i for every i, and a_i < b_i for one
//! ```
//! Lower is better in every coordinate. Of points alike in every coordinate the first to come is kept, so what is kept depends on the order of
//! arrival only through such ties.
//!
//! A front of five coordinates grows nearly as fast as the number of points shown to it. So it is kept in blocks of neighbours, each with its lowest and
//! highest value in every coordinate: a query skips the blocks whose corners already decide it. Every block owns a box of the space; a full one
//! is cut in two at its median, one coordinate after the other in turn. The halves stay side by side, so that blocks near each other in the list are near each
//! other in the space: some of them together have corners, too, and are skipped together.
//!
//! # Source
//! Definition: Pareto (textbook; recalled); blocks with corners: after the ND-tree of Jaszkiewicz and Lust 2018, IEEE Trans. Evol. Comput. 22:778 (recalled); thinning by the
//! farthest point: Gonzalez 1985, Theor. Comput. Sci. 38:293 (recalled).

/// Number of coordinates.
const SCORES: usize = 5;

/// A point this near to one that is chosen, as a share of the ranges, adds nothing to a short list.
const NEAR: f64 = 0.05;

/// Coordinates of a point, each on a scale of its own: lower is better.
pub type Scores = [f64; SCORES];

/// Whether `a` is nowhere worse than `b`.
fn as_good(a: &Scores, b: &Scores) -> bool {
    // Without a branch: which coordinate tells is anybody's guess.
    a.iter().zip(b).fold(true, |good, (a, b)| good & (a <= b))
}

/// Whether `a` is nowhere worse than `b` and somewhere better.
///
/// # Example
/// ```
/// use barwright_reformulate::front::dominates;
/// let (a, b) = ([0.0, 1.0, 2.0, 0.0, 0.0], [0.0, 1.0, 3.0, 0.0, 0.0]);
/// assert!(dominates(&a, &b) && !dominates(&b, &a) && !dominates(&a, &a));
/// ```
pub fn dominates(a: &Scores, b: &Scores) -> bool {
    as_good(a, b) && a != b
}

/// Points in a block before it is cut in two.
const BLOCK: usize = 64;

/// Blocks that are skipped together.
const GROUP: usize = 16;

/// A set of points of which none beats another.
#[derive(Debug, Clone)]
pub struct Front<T> {
    /// Their boxes are all of the space, without overlap.
    blocks: Vec<Block<T>>,
    /// Corners of every [`GROUP`] of them.
    groups: Vec<Corners>,
}

/// A box that holds some points.
#[derive(Debug, Clone, Copy)]
struct Corners {
    /// No point is lower in any coordinate.
    low: Scores,
    /// No point is higher in any coordinate.
    high: Scores,
}

impl Corners {
    /// Without points, beyond every question.
    const NONE: Corners = Corners { low: [f64::INFINITY; SCORES], high: [f64::NEG_INFINITY; SCORES] };

    /// Those of its points and others.
    fn with(&self, other: &Corners) -> Self {
        Corners {
            low: std::array::from_fn(|i| self.low[i].min(other.low[i])),
            high: std::array::from_fn(|i| self.high[i].max(other.high[i])),
        }
    }
}

/// Neighbouring points.
#[derive(Debug, Clone)]
struct Block<T> {
    /// Box it owns: from here…
    from: Scores,
    /// …to below here.
    below: Scores,
    /// Lowest and highest value of its points in each coordinate.
    corners: Corners,
    /// Coordinate to cut next.
    axis: usize,
    scores: Vec<Scores>,
    items: Vec<T>,
}

impl<T> Default for Front<T> {
    fn default() -> Self {
        let (from, below) = ([f64::NEG_INFINITY; SCORES], [f64::INFINITY; SCORES]);
        Front { blocks: vec![Block::new(from, below, 0)], groups: vec![Corners::NONE] }
    }
}

impl<T> Front<T> {
    /// Number of points.
    pub fn len(&self) -> usize {
        self.blocks.iter().map(|block| block.items.len()).sum()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Whether a point would not be taken in: one here is nowhere worse, or it is not a number.
    pub fn covers(&self, scores: &Scores) -> bool {
        let in_block = |block: &Block<T>| {
            as_good(&block.corners.low, scores) && block.scores.iter().any(|known| as_good(known, scores))
        };
        let in_group =
            |(group, blocks): (&Corners, &[Block<T>])| as_good(&group.low, scores) && blocks.iter().any(in_block);
        scores.iter().any(|score| score.is_nan()) || self.groups.iter().zip(self.blocks.chunks(GROUP)).any(in_group)
    }

    /// The lowest coordinate `free`, on its own scale, among the points here that are nowhere worse in all others; `None` without such a point.
    ///
    /// A point that is not lower than that is covered.
    pub fn least_with_others_as_good(&self, scores: &Scores, free: usize) -> Option<f64> {
        // What counts as good in the free coordinate: anything, then whatever is lower than the lowest so far.
        let mut limit = *scores;
        limit[free] = f64::INFINITY;
        let mut least = None;
        for (group, blocks) in self.groups.iter().zip(self.blocks.chunks(GROUP)) {
            if !as_good(&group.low, &limit) {
                continue;
            }
            for block in blocks {
                if !as_good(&block.corners.low, &limit) {
                    continue;
                }
                for known in &block.scores {
                    if as_good(known, &limit) {
                        limit[free] = known[free];
                        least = Some(known[free]);
                    }
                }
            }
        }
        least
    }

    /// Takes a point in unless it is covered, and drops those it beats.
    ///
    /// # Returns
    /// Whether it was taken in.
    ///
    /// # Example
    /// ```
    /// use barwright_reformulate::front::Front;
    /// let mut front = Front::default();
    /// assert!(front.insert([1.0, 2.0, 0.0, 0.0, 0.0], "a"));
    /// assert!(front.insert([2.0, 1.0, 0.0, 0.0, 0.0], "b"));
    /// assert!(!front.insert([2.0, 2.0, 0.0, 0.0, 0.0], "worse than both"));
    /// assert!(front.insert([1.0, 1.0, 0.0, 0.0, 0.0], "better than both"));
    /// assert_eq!(front.len(), 1);
    /// ```
    pub fn insert(&mut self, scores: Scores, item: T) -> bool {
        if self.covers(&scores) {
            return false;
        }
        // What is dropped leaves the corners of its group as they are: too wide is no mistake.
        for (group, blocks) in self.groups.iter().zip(self.blocks.chunks_mut(GROUP)) {
            if as_good(&scores, &group.high) {
                blocks.iter_mut().for_each(|block| block.drop_beaten(&scores));
            }
        }
        let owner = self.blocks.iter().position(|block| block.owns(&scores));
        if let Some((owner, block)) = owner.and_then(|owner| Some((owner, self.blocks.get_mut(owner)?))) {
            block.push(scores, item);
            let group = &mut self.groups[owner / GROUP];
            *group = group.with(&block.corners);
            let other = if block.items.len() > BLOCK { block.cut() } else { None };
            if let Some(other) = other {
                self.blocks.insert(owner + 1, other);
                let around = |blocks: &[Block<T>]| blocks.iter().fold(Corners::NONE, |all, one| all.with(&one.corners));
                self.groups.clear();
                self.groups.extend(self.blocks.chunks(GROUP).map(around));
            }
        }
        true
    }

    /// What stands at the points, in no particular order.
    pub(crate) fn into_items(self) -> impl Iterator<Item = T> {
        self.blocks.into_iter().flat_map(|block| block.items)
    }

    /// The points, in no particular order.
    pub fn iter(&self) -> impl Iterator<Item = (&Scores, &T)> {
        self.blocks.iter().flat_map(|block| block.scores.iter().zip(&block.items))
    }
}

impl<T> Block<T> {
    fn new(from: Scores, below: Scores, axis: usize) -> Self {
        Block { from, below, corners: Corners::NONE, axis, scores: Vec::new(), items: Vec::new() }
    }

    /// Whether a point lies in its box. Infinity lies in the last one.
    fn owns(&self, scores: &Scores) -> bool {
        let inside =
            |i: usize| self.from[i] <= scores[i] && (scores[i] < self.below[i] || self.below[i] == f64::INFINITY);
        (0..SCORES).all(inside)
    }

    fn push(&mut self, scores: Scores, item: T) {
        self.corners = self.corners.with(&Corners { low: scores, high: scores });
        self.scores.push(scores);
        self.items.push(item);
    }

    /// Drops the points that another is as good as.
    fn drop_beaten(&mut self, by: &Scores) {
        if !as_good(by, &self.corners.high) || !self.scores.iter().any(|known| as_good(by, known)) {
            return;
        }
        let mut left = Block::new(self.from, self.below, self.axis);
        for (scores, item) in self.scores.drain(..).zip(self.items.drain(..)) {
            if !as_good(by, &scores) {
                left.push(scores, item);
            }
        }
        *self = left;
    }

    /// Cuts it in two and gives the other half; `None` when its points do not differ.
    fn cut(&mut self) -> Option<Self> {
        let (axis, at) = (0..SCORES).find_map(|turn| {
            let axis = (self.axis + turn) % SCORES;
            let mut values: Vec<f64> = self.scores.iter().map(|scores| scores[axis]).collect();
            values.sort_by(f64::total_cmp);
            let middle = values[values.len() / 2];
            // Of many alike at the low end, all of them stay on one side.
            let above_least = || values.iter().copied().find(|value| *value > values[0]);
            let at = if middle > values[0] { Some(middle) } else { above_least() };
            at.map(|at| (axis, at))
        })?;
        let next = (axis + 1) % SCORES;
        let (mut below, mut from) = (self.below, self.from);
        (below[axis], from[axis]) = (at, at);
        let (mut own, mut other) = (Block::new(self.from, below, next), Block::new(from, self.below, next));
        for (scores, item) in self.scores.drain(..).zip(self.items.drain(..)) {
            let half = if scores[axis] < at { &mut own } else { &mut other };
            half.push(scores, item);
        }
        *self = own;
        Some(other)
    }
}

/// Chooses a representative selection of a set of points.
///
/// The best in each coordinate come first, in the order of coordinates (of equals, the first), unless one chosen before is nearly the same; then again and again the one farthest from all chosen
/// (the first of equals), each coordinate measured by its range. Coordinates that are not finite count as the farthest finite one.
///
/// # Arguments
/// * `points`: coordinates; scale them so that equal distances mean equally much.
/// * `most`: how many may be chosen. Fewer than the coordinates leave out the last extremes.
///
/// # Returns
/// Positions of the chosen, ascending; all of them when there are no more than `most`. Points alike in all coordinates are chosen once.
///
/// # Example
/// ```
/// use barwright_reformulate::front::spread;
/// let line: Vec<_> = (0..=10).map(|i| [f64::from(i), f64::from(10 - i), 0.0, 0.0, 0.0]).collect();
/// assert_eq!(spread(&line, 3), [0, 5, 10]);
/// ```
pub fn spread(points: &[Scores], most: usize) -> Vec<usize> {
    if points.len() <= most {
        return (0..points.len()).collect();
    }
    let ranges: [(f64, f64); SCORES] = std::array::from_fn(|i| {
        let finite = points.iter().map(|point| point[i]).filter(|value| value.is_finite());
        finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
    });
    let scale = |value: f64, (low, high): (f64, f64)| {
        // Without a finite value, or with one alone, the coordinate tells nothing apart.
        if high > low { (value.clamp(low, high) - low) / (high - low) } else { 0.0 }
    };
    let scaled: Vec<Scores> = points.iter().map(|point| std::array::from_fn(|i| scale(point[i], ranges[i]))).collect();
    let mut chosen: Vec<usize> = Vec::with_capacity(most);
    let mut away = vec![f64::INFINITY; points.len()];
    let choose = |index: usize, chosen: &mut Vec<usize>, away: &mut [f64]| {
        chosen.push(index);
        for (distance, point) in away.iter_mut().zip(&scaled) {
            let squared: f64 = point.iter().zip(&scaled[index]).map(|(a, b)| (a - b) * (a - b)).sum();
            *distance = distance.min(squared);
        }
    };
    let first_best = |of: &dyn Fn(usize) -> f64| {
        (1..points.len()).fold(0, |best, index| if of(index) < of(best) { index } else { best })
    };
    let extremes: [usize; SCORES] = std::array::from_fn(|i| first_best(&|index| scaled[index][i]));
    for best in extremes {
        if chosen.len() < most && away[best] > NEAR * NEAR {
            choose(best, &mut chosen, &mut away);
        }
    }
    while chosen.len() < most {
        let farthest = first_best(&|index| -away[index]);
        if away[farthest] <= 0.0 {
            break;
        }
        choose(farthest, &mut chosen, &mut away);
    }
    chosen.sort_unstable();
    chosen
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;
    use crate::quasi_random::Mixer;

    /// Random points; coarse coordinates make many ties.
    fn cloud(count: usize, levels: usize, seed: u64) -> Vec<Scores> {
        let mut mixer = Mixer::new(&[seed]);
        (0..count).map(|_| std::array::from_fn(|_| mixer.below(levels) as f64)).collect()
    }

    fn filled(points: &[Scores]) -> Front<usize> {
        let mut front = Front::default();
        for (index, point) in points.iter().enumerate() {
            front.insert(*point, index);
        }
        front
    }

    fn members(front: &Front<usize>) -> Vec<usize> {
        let mut members: Vec<usize> = front.iter().map(|(_, &index)| index).collect();
        members.sort_unstable();
        members
    }

    #[test]
    fn the_same_as_comparing_all_with_all() {
        for (levels, seed) in [(3, 1), (10, 2), (1000, 3), (1_000_000, 4)] {
            let points = cloud(600, levels, seed);
            let brute: Vec<usize> = (0..points.len())
                .filter(|&i| {
                    let beaten = points.iter().any(|other| dominates(other, &points[i]));
                    !beaten && !points[..i].contains(&points[i])
                })
                .collect();
            assert_eq!(members(&filled(&points)), brute, "{levels} levels");
        }
    }

    #[test]
    fn none_beats_another_and_a_beaten_point_changes_nothing() {
        let points = cloud(400, 50, 5);
        let mut front = filled(&points);
        for (a, _) in front.iter() {
            assert!(front.iter().all(|(b, _)| !dominates(a, b)));
        }
        let before = members(&front);
        let worse: Vec<Scores> = front.iter().map(|(scores, _)| scores.map(|score| score + 1.0)).collect();
        for point in worse.into_iter().chain([[f64::NAN, 0.0, 0.0, 0.0, 0.0]]) {
            assert!(!front.insert(point, usize::MAX));
        }
        assert_eq!(members(&front), before);
    }

    #[test]
    fn the_order_of_arrival_decides_between_equals_only() {
        let mut points = cloud(400, 8, 6);
        let kept = |points: &[Scores]| {
            let mut kept: Vec<Scores> = filled(points).iter().map(|(scores, _)| *scores).collect();
            kept.sort_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
            kept
        };
        let forward = kept(&points);
        points.reverse();
        assert_eq!(kept(&points), forward);
    }

    #[test]
    fn what_one_coordinate_must_fall_below_to_get_in() {
        let front = filled(&cloud(300, 20, 9));
        let (mut some, mut none) = (0, 0);
        for mut point in cloud(300, 20, 10) {
            match front.least_with_others_as_good(&point, 1) {
                Some(least) => {
                    some += 1;
                    point[1] = least;
                    assert!(front.covers(&point));
                    point[1] = least - 0.5;
                    assert!(!front.covers(&point));
                }
                None => {
                    none += 1;
                    point[1] = 1e9;
                    assert!(!front.covers(&point));
                }
            }
        }
        assert!(some > 10 && none > 10, "{some} {none}");
    }

    #[test]
    fn blocks_own_their_points_and_know_their_corners() {
        for levels in [4, 30, 1_000_000] {
            let mut points = cloud(4000, levels, 11);
            points.iter_mut().step_by(7).for_each(|point| point[1] = f64::INFINITY);
            let front = filled(&points);
            let filled_blocks = front.blocks.iter().filter(|block| !block.items.is_empty()).count();
            assert!(front.len() <= BLOCK || filled_blocks > 1, "{levels} levels");
            for block in &front.blocks {
                assert!(block.items.len() <= BLOCK && block.scores.iter().all(|scores| block.owns(scores)));
                for i in 0..SCORES {
                    let values = || block.scores.iter().map(|scores| scores[i]);
                    assert_eq!(block.corners.low[i], values().fold(f64::INFINITY, f64::min));
                    assert_eq!(block.corners.high[i], values().fold(f64::NEG_INFINITY, f64::max));
                }
            }
            assert_eq!(front.groups.len(), front.blocks.len().div_ceil(GROUP));
            for (group, blocks) in front.groups.iter().zip(front.blocks.chunks(GROUP)) {
                let mut inside = blocks.iter().flat_map(|block| &block.scores);
                assert!(inside.all(|scores| as_good(&group.low, scores) && as_good(scores, &group.high)));
            }
        }
    }

    #[test]
    fn every_point_of_the_space_has_one_block() {
        let points = cloud(4000, 1_000_000, 12);
        let front = filled(&points);
        assert!(!front.is_empty() && Front::<usize>::default().is_empty());
        let infinite = points.iter().map(|point| {
            let mut point = *point;
            point[2] = f64::INFINITY;
            point
        });
        // Also those that lie on a cut.
        let cuts = front
            .blocks
            .iter()
            .filter(|block| block.from[0].is_finite())
            .map(|block| block.from.map(|one| one.max(0.0)));
        for point in points.iter().copied().chain(infinite).chain(cuts) {
            assert_eq!(front.blocks.iter().filter(|block| block.owns(&point)).count(), 1, "{point:?}");
        }
    }

    /// A line on which none beats another: up to 64 points are one block, of 65 the median is the first of the upper half.
    #[test]
    fn a_full_block_is_cut_at_its_median() {
        let line = |count: usize| (0..count).map(|i| [i as f64, -(i as f64), 0.0, 0.0, 0.0]).collect::<Vec<Scores>>();
        assert_eq!(filled(&line(64)).blocks.len(), 1);
        let front = filled(&line(65));
        let [lower, upper] = front.blocks.as_slice() else { panic!("{} blocks", front.blocks.len()) };
        assert_eq!((lower.items.len(), upper.items.len()), (32, 33));
        assert_eq!((lower.below[0], upper.from[0]), (32.0, 32.0));
        assert_eq!((lower.axis, upper.axis), (1, 1));
    }

    fn block(axis: usize, scores: &[Scores]) -> Block<usize> {
        let mut block = Block::new([f64::NEG_INFINITY; SCORES], [f64::INFINITY; SCORES], axis);
        for (item, one) in scores.iter().enumerate() {
            block.push(*one, item);
        }
        block
    }

    #[test]
    fn a_cut_takes_the_next_coordinate_that_tells_points_apart() {
        // From the fourth coordinate on, past the last: they differ in the second alone.
        let mut several = block(3, &[0.0, 5.0, 7.0, 9.0].map(|value| [1.0, value, 1.0, 1.0, 1.0]));
        let other = several.cut().unwrap();
        assert_eq!((several.items.as_slice(), other.items.as_slice()), (&[0, 1][..], &[2, 3][..]));
        assert_eq!((several.axis, other.axis, several.below[1], other.from[1]), (2, 2, 7.0, 7.0));
        // After the last comes the first again.
        let mut last = block(4, &[0.0, 5.0, 7.0].map(|value| [1.0, 1.0, 1.0, 1.0, value]));
        assert_eq!(last.cut().unwrap().axis, 0);
        // Of many alike at the low end all stay on one side.
        let mut alike = block(0, &[2.0, 2.0, 2.0, 3.0, 2.0].map(|value| [value, 1.0, 1.0, 1.0, 1.0]));
        let other = alike.cut().unwrap();
        assert_eq!((alike.items.len(), other.items.as_slice()), (4, &[3][..]));
        assert!(block(0, &[[1.0; SCORES]; 5]).cut().is_none());
    }

    #[test]
    fn coordinates_are_measured_by_their_ranges() {
        // 30 to 34 by fives of a range of 4, the other from 0 to 100: the middle by both is farthest from the ends.
        let line: Vec<Scores> = [(30.0, 100.0), (31.0, 75.0), (32.1, 48.0), (33.0, 25.0), (34.0, 0.0)]
            .map(|(first, second)| [first, second, 0.0, 0.0, 0.0])
            .to_vec();
        assert_eq!(spread(&line, 3), [0, 2, 4]);
        // The best of the third is within a twentieth of the best of the first, and adds nothing; a tenth off it does.
        let near = |off: f64| {
            let points = [
                [0.0, 1.0, 0.0, off, 0.0],
                [0.0, 1.0, 0.0, 0.0, 0.0],
                [1.0, 0.0, 0.0, 0.4, 0.0],
                [0.5, 0.5, 0.0, 1.0, 0.0],
            ];
            spread(&points, 3)
        };
        assert_eq!(near(0.04), [0, 2, 3]);
        assert_eq!(near(0.1), [0, 1, 2]);
    }

    /// By their ranges (100, 1, the ends alone) the fourth is 0.65 or more from both ends, squared, the third 0.45. By the first coordinate
    /// alone it would be the third.
    #[test]
    fn a_coordinate_of_a_narrow_range_counts_as_much() {
        let points =
            [(0.0, 1.0), (100.0, 0.0), (45.0, 0.5), (80.0, 0.9)].map(|(first, second)| [first, second, 0.0, 0.0, 0.0]);
        assert_eq!(spread(&points, 3), [0, 1, 3]);
    }

    /// Whole numbers above 2^52 are told apart to the last one; twice as far from zero they no longer would be.
    #[test]
    fn where_a_range_begins_does_not_count() {
        for from in [0.0, 2_f64.powi(52)] {
            let line: Vec<Scores> = [0.0, 1.0, 3.0, 5.0].map(|first| [from + first, 0.0, 0.0, 0.0, 0.0]).to_vec();
            assert_eq!(spread(&line, 3), [0, 2, 3], "from {from}");
        }
    }

    #[test]
    fn thinning_keeps_the_extremes_and_the_number() {
        let points: Vec<Scores> = filled(&cloud(3000, 1_000_000, 8)).iter().map(|(scores, _)| *scores).collect();
        assert!(points.len() > 100);
        let chosen = spread(&points, 20);
        assert_eq!(chosen.len(), 20);
        for i in 0..SCORES {
            let best = points.iter().map(|point| point[i]).fold(f64::INFINITY, f64::min);
            assert!(chosen.iter().any(|&index| points[index][i] == best));
        }
        // The best in two coordinates, all but the same: one of them is enough.
        let twins = [[0.0, 0.001, 1.0, 0.0, 0.0], [0.001, 0.0, 1.0, 0.0, 0.0], [1.0, 1.0, 0.0, 0.0, 0.0]];
        let line = (0..9).map(|i| [0.1 + f64::from(i) / 9.0, 0.5, 0.6, 0.0, 0.0]);
        assert_eq!(spread(&twins.into_iter().chain(line).collect::<Vec<_>>(), 3)[..2], [0, 2]);
        assert_eq!(spread(&points, points.len()).len(), points.len());
        assert!(spread(&points, 0).is_empty());
        assert_eq!(spread(&[[1.0; SCORES]; 9], 3), [0]);
        let endless = [[0.0; SCORES], [f64::INFINITY, -1.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, 0.0, 0.0]];
        assert_eq!(spread(&endless, 2), [0, 1]);
    }
}
