//! Outline of where a function of two numbers is positive.
//!
//! The dual method in the plane: each cell that the outline crosses holds one
//! vertex, the mean of the crossings of its edges, and each edge with a change
//! of sign joins the vertices of the two cells beside it.

use crate::text::put;

/// A grid of values: `columns` by `rows` nodes, `step` apart from `origin`.
pub(crate) struct Nodes {
    pub(crate) columns: usize,
    pub(crate) rows: usize,
    pub(crate) origin: [f64; 2],
    pub(crate) step: [f64; 2],
    /// Row by row; not-a-number counts as outside.
    pub(crate) values: Vec<f64>,
}

impl Nodes {
    /// Values of `value` at the nodes.
    pub(crate) fn of(
        size: (usize, usize),
        origin: [f64; 2],
        step: [f64; 2],
        value: impl Fn(f64, f64) -> f64,
    ) -> Self {
        let (columns, rows) = size;
        let values = (0..rows)
            .flat_map(|r| (0..columns).map(move |c| (c, r)))
            .map(|(c, r)| value(origin[0] + c as f64 * step[0], origin[1] + r as f64 * step[1]))
            .collect();
        Self { columns, rows, origin, step, values }
    }

    fn at(&self, column: usize, row: usize) -> f64 {
        let value = self.values[row * self.columns + column];
        if value.is_nan() { -1.0 } else { value }
    }

    /// The crossing of the edge between two nodes, as grid position.
    fn crossing(&self, a: (usize, usize), b: (usize, usize)) -> Option<[f64; 2]> {
        let (low, high) = (self.at(a.0, a.1), self.at(b.0, b.1));
        if (low > 0.0) == (high > 0.0) {
            return None;
        }
        let part = low / (low - high);
        let along = |from: usize, to: usize| from as f64 + part * (to as f64 - from as f64);
        Some([along(a.0, b.0), along(a.1, b.1)])
    }

    /// The vertex of a cell that the outline crosses.
    fn vertex(&self, column: usize, row: usize) -> Option<[f64; 2]> {
        let corners = [(column, row), (column + 1, row), (column + 1, row + 1), (column, row + 1)];
        let crossings: Vec<[f64; 2]> =
            (0..4).filter_map(|i| self.crossing(corners[i], corners[(i + 1) % 4])).collect();
        let count = crossings.len() as f64;
        (!crossings.is_empty()).then(|| {
            [0, 1].map(|axis| {
                let mean = crossings.iter().map(|c| c[axis]).sum::<f64>() / count;
                self.origin[axis] + mean * self.step[axis]
            })
        })
    }

    /// The outline's vertices, row by row.
    pub(crate) fn vertices(&self) -> Vec<[f64; 2]> {
        (0..self.rows.saturating_sub(1))
            .flat_map(|row| (0..self.columns.saturating_sub(1)).map(move |column| (column, row)))
            .filter_map(|(column, row)| self.vertex(column, row))
            .collect()
    }

    /// The outline as the data of an SVG path, with one decimal.
    pub(crate) fn outline(&self) -> String {
        let mut path = String::new();
        let mut join = |from: Option<[f64; 2]>, to: Option<[f64; 2]>| {
            if let (Some([x1, y1]), Some([x2, y2])) = (from, to) {
                put(&mut path, format_args!("M{x1:.2} {y1:.2}L{x2:.2} {y2:.2}"));
            }
        };
        for row in 0..self.rows {
            for column in 0..self.columns {
                let inner_row = row > 0 && row + 1 < self.rows;
                let inner_column = column > 0 && column + 1 < self.columns;
                if inner_row
                    && column + 1 < self.columns
                    && self.crossing((column, row), (column + 1, row)).is_some()
                {
                    join(self.vertex(column, row - 1), self.vertex(column, row));
                }
                if inner_column
                    && row + 1 < self.rows
                    && self.crossing((column, row), (column, row + 1)).is_some()
                {
                    join(self.vertex(column - 1, row), self.vertex(column, row));
                }
            }
        }
        path
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_outline_of_a_disc_lies_on_its_circle() {
        let nodes = Nodes::of((41, 41), [-10.0, -10.0], [0.5, 0.5], |x, y| 6.0 - x.hypot(y));
        let outline = nodes.outline();
        let numbers: Vec<f64> = outline
            .split(['M', 'L', ' '])
            .filter(|t| !t.is_empty())
            .map(|t| t.parse().expect("a number"))
            .collect();
        assert!(numbers.len() > 200);
        for point in numbers.chunks(2) {
            assert!((point[0].hypot(point[1]) - 6.0).abs() < 0.1, "{point:?}");
        }
    }

    #[test]
    fn nothing_has_no_outline() {
        let nodes = Nodes::of((5, 5), [0.0, 0.0], [1.0, 1.0], |_, _| f64::NAN);
        assert_eq!(nodes.outline(), "");
    }
}
