//! Sheets as text, for a terminal: eight dots in a letter (braille), bands shaded, darker where several lie on each other; no colour.

use super::chart::{Dash, Marker, Picture};
use super::dash;
use super::sheet::{Area, Item, Sheet, Surface, lay_out};

/// Rows of a frame.
const ROWS: f64 = 15.0;

/// Dots in a letter, across and upwards.
const DOTS: (usize, usize) = (2, 4);

/// A letter with no dots.
const BLANK: u32 = 0x2800;

/// Bits of the dots of a letter, by row and column.
const BITS: [[u32; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];

/// Dots of a line against the parts its dashes are told in.
const DASHES: f64 = 0.8;

/// A place in one band, in two, and in more.
const SHADES: [char; 3] = ['░', '▒', '▓'];

/// A line at least so wide is drawn two dots wide.
const THICK: f64 = 2.0;

/// Draws a picture in letters, so many columns wide; every line ends with a line feed.
pub fn text(picture: &Picture, columns: usize) -> String {
    Grid::new(&lay_out(picture, &surface(columns as f64))).text()
}

/// A terminal so many letters wide.
pub fn surface(width: f64) -> Surface {
    Surface {
        width,
        frame: ROWS,
        line: 1.0,
        letter: |_| 1.0,
        title: 1.0,
        gap: (1.0, 0.0),
        tick: 1.0,
        sample: 7.5,
        whole: true,
        fine: 0.5,
        beside: false,
        spacing: (10.0, 3.0),
    }
}

/// Letters and dots.
struct Grid {
    columns: usize,
    rows: usize,
    /// What stands in a letter, if anything.
    letters: Vec<Option<char>>,
    /// Dots of a letter.
    dots: Vec<u32>,
    /// Letters that are shaded, or a line of a frame.
    under: Vec<Option<char>>,
}

impl Grid {
    fn new(sheet: &Sheet) -> Self {
        let (columns, rows) = (sheet.width.ceil() as usize, sheet.height.ceil() as usize + 1);
        let empty = || vec![None; columns * rows];
        let mut grid = Grid { columns, rows, letters: empty(), dots: vec![0; columns * rows], under: empty() };
        for item in &sheet.items {
            grid.draw(item);
        }
        grid
    }

    fn draw(&mut self, item: &Item) {
        match item {
            Item::Words(area, text, _) => {
                for (index, letter) in text.chars().enumerate() {
                    put(&mut self.letters, self.columns, area.x + index as f64, area.y, letter);
                }
            }
            Item::Frame(area) => self.frame(area),
            Item::Tick((x, y), (_, end)) => {
                let mark = if y == end { '┤' } else { '┬' };
                put(&mut self.under, self.columns, *x, *y, mark);
            }
            Item::Place(x, top, foot) => {
                for row in 0..(foot - top) as usize {
                    put(&mut self.under, self.columns, *x, top + row as f64, '┊');
                }
            }
            Item::Band(upper, lower, ..) => self.band(upper, lower),
            Item::Line(points, dash, width, _) => self.line(points, *dash, *width),
            Item::Point((x, y), marker, _) => match marker {
                Marker::Dot => self.dot(*x, *y),
                Marker::Circle => put(&mut self.letters, self.columns, *x, *y, 'o'),
                Marker::Square => put(&mut self.letters, self.columns, *x, *y, '■'),
            },
        }
    }

    /// The left and lower side of a frame: the others say nothing.
    fn frame(&mut self, area: &Area) {
        let foot = area.y + area.height;
        for row in 0..area.height as usize {
            put(&mut self.under, self.columns, area.x - 1.0, area.y + row as f64, '│');
        }
        put(&mut self.under, self.columns, area.x - 1.0, foot, '└');
        for column in 0..area.width.floor() as usize {
            put(&mut self.under, self.columns, area.x + column as f64, foot, '─');
        }
    }

    fn band(&mut self, upper: &[(f64, f64)], lower: &[(f64, f64)]) {
        let (Some(first), Some(last)) = (upper.first(), upper.last()) else { return };
        for column in first.0.ceil() as usize..=last.0.floor() as usize {
            let x = column as f64 + 0.5;
            let (Some(top), Some(foot)) = (between(upper, x), between(lower, x)) else { continue };
            let rows = top.floor() as usize..foot.ceil() as usize;
            for row in rows.filter(|row| {
                let middle = *row as f64 + 0.5;
                middle > top && middle < foot
            }) {
                let darker = self.under.get(row * self.columns + column).copied().flatten();
                let depth = darker.and_then(|shade| SHADES.iter().position(|one| *one == shade)).map_or(0, |at| at + 1);
                let shade = SHADES.get(depth).or(SHADES.last()).copied().unwrap_or(' ');
                put(&mut self.under, self.columns, column as f64, row as f64, shade);
            }
        }
    }

    fn line(&mut self, points: &[(f64, f64)], dash: Dash, width: f64) {
        let (wide, high) = (DOTS.0 as f64, DOTS.1 as f64);
        let dots: Vec<(f64, f64)> = points.iter().map(|(x, y)| (wide * x, high * y)).collect();
        let pattern: Vec<f64> = dash.pattern().iter().map(|part| DASHES * part).collect();
        let dashes = dash::cut(&dots, &pattern);
        for (a, b) in dashes.iter().flat_map(|dash| dash.iter().zip(dash.iter().skip(1))) {
            let steps = (2.0 * (b.0 - a.0).hypot(b.1 - a.1)).ceil().max(1.0) as usize;
            for share in (0..=steps).map(|step| step as f64 / steps as f64) {
                let (x, y) = ((a.0 + share * (b.0 - a.0)) / wide, (a.1 + share * (b.1 - a.1)) / high);
                self.dot(x, y);
                if width >= THICK {
                    self.dot(x, y - 1.0 / high);
                }
            }
        }
    }

    fn dot(&mut self, x: f64, y: f64) {
        if x < 0.0 || y < 0.0 {
            return;
        }
        let (column, row) = ((x * DOTS.0 as f64) as usize, (y * DOTS.1 as f64) as usize);
        let bit = BITS.get(row % DOTS.1).and_then(|row| row.get(column % DOTS.0)).copied().unwrap_or(0);
        if column / DOTS.0 < self.columns
            && let Some(letter) = self.dots.get_mut(row / DOTS.1 * self.columns + column / DOTS.0)
        {
            *letter |= bit;
        }
    }

    fn text(&self) -> String {
        let mut text = String::new();
        for row in 0..self.rows {
            let line: String = (0..self.columns)
                .map(|column| {
                    let at = row * self.columns + column;
                    let dots = self.dots.get(at).copied().unwrap_or(0);
                    let of = |layer: &[Option<char>]| layer.get(at).copied().flatten();
                    let braille = (dots > 0).then(|| char::from_u32(BLANK + dots)).flatten();
                    of(&self.letters).or(braille).or_else(|| of(&self.under)).unwrap_or(' ')
                })
                .collect();
            text.push_str(line.trim_end());
            text.push('\n');
        }
        format!("{}\n", text.trim_end_matches('\n'))
    }
}

/// Puts a letter; one that is outside is left out.
fn put(layer: &mut [Option<char>], columns: usize, x: f64, y: f64, letter: char) {
    if x >= 0.0
        && y >= 0.0
        && (x as usize) < columns
        && let Some(place) = layer.get_mut(y as usize * columns + x as usize)
    {
        *place = Some(letter);
    }
}

/// Height of an edge at a place across.
fn between(edge: &[(f64, f64)], x: f64) -> Option<f64> {
    edge.iter().zip(edge.iter().skip(1)).find(|(a, b)| a.0 <= x && x <= b.0).map(|(a, b)| {
        let share = if b.0 > a.0 { (x - a.0) / (b.0 - a.0) } else { 0.0 };
        a.1 + share * (b.1 - a.1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::chart::{Axis, Chart, Series};

    #[test]
    fn bands_are_darker_where_several_lie_on_each_other() {
        let drawn = |bands: &[(f64, f64)]| {
            let band = |(number, &(low, high)): (usize, &(f64, f64))| Series {
                band: vec![(0.0, low, high), (1.0, low, high)],
                ..Series::line("", number, 1.0, vec![(0.0, low), (1.0, low)])
            };
            let chart = Chart {
                title: String::new(),
                x: Axis::linear(""),
                y: Axis::linear("").within(0.0, 100.0),
                series: bands.iter().enumerate().map(band).collect(),
                places: Vec::new(),
            };
            let picture = Picture { title: String::new(), charts: vec![chart], beside: 1, caption: String::new() };
            let text = text(&picture, 80);
            SHADES.map(|shade| text.contains(shade))
        };
        assert_eq!(drawn(&[(0.0, 60.0)]), [true, false, false]);
        assert_eq!(drawn(&[(0.0, 60.0), (30.0, 90.0)]), [true, true, false]);
        assert_eq!(drawn(&[(0.0, 60.0); 4]), [false, false, true]);
    }
}
