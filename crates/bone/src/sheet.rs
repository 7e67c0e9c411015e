//! A smooth sheet through a stack of profiles: semi-global minimisation.

/// Costs of a sheet: one profile of `steps` costs for each node of a
/// `rows` by `columns` net.
pub(crate) struct Sheet {
    pub(crate) rows: usize,
    pub(crate) columns: usize,
    pub(crate) steps: usize,
    /// Whether the last column neighbours the first.
    pub(crate) wraps: bool,
    /// Row by row, column by column, steps fastest.
    pub(crate) costs: Vec<f32>,
}

/// Price of a neighbour one step away, and of one further away.
#[derive(Clone, Copy)]
pub(crate) struct Prices {
    pub(crate) one_step: f32,
    pub(crate) jump: f32,
}

impl Sheet {
    /// The step chosen at each node, smoothed by a 3 by 3 median and then a
    /// 3 by 3 mean; row by row.
    ///
    /// Path costs are gathered from four directions (Hirschmüller 2008, IEEE
    /// TPAMI 30:328, here on a net of profiles instead of disparities); the
    /// sum is a good but not proven minimum of cost plus unevenness.
    pub(crate) fn settle(&self, prices: Prices) -> Vec<f32> {
        let mut total = vec![0.0_f32; self.costs.len()];
        let across = (0..self.rows)
            .map(|row| (0..self.columns).map(|c| row * self.columns + c).collect::<Vec<_>>());
        let along = (0..self.columns)
            .map(|column| (0..self.rows).map(|r| r * self.columns + column).collect::<Vec<_>>());
        let lines = across.map(|line| (line, self.wraps)).chain(along.map(|line| (line, false)));
        for (mut line, wraps) in lines {
            self.gather(&line, wraps, prices, &mut total);
            line.reverse();
            self.gather(&line, wraps, prices, &mut total);
        }
        let best: Vec<f32> = total.chunks(self.steps).map(|costs| lowest(costs) as f32).collect();
        let median = self.windowed(&best, |window| {
            window.sort_by(f32::total_cmp);
            window[window.len() / 2]
        });
        self.windowed(&median, |window| window.iter().sum::<f32>() / window.len() as f32)
    }

    /// Add the path costs along a line of nodes to `total`.
    fn gather(&self, line: &[usize], wraps: bool, prices: Prices, total: &mut [f32]) {
        let mut before = vec![0.0_f32; self.steps];
        let mut now = vec![0.0_f32; self.steps];
        let laps = if wraps { 2 } else { 1 };
        for (at, node) in line.repeat(laps).into_iter().enumerate() {
            let node = node * self.steps..(node + 1) * self.steps;
            advance(&self.costs[node.clone()], &before, prices, &mut now);
            if at >= (laps - 1) * line.len() {
                for (sum, cost) in total[node].iter_mut().zip(&now) {
                    *sum += cost;
                }
            }
            std::mem::swap(&mut before, &mut now);
        }
    }

    fn windowed(&self, values: &[f32], summary: impl Fn(&mut Vec<f32>) -> f32) -> Vec<f32> {
        let mut window = Vec::with_capacity(9);
        (0..values.len())
            .map(|node| {
                let (row, column) = (node / self.columns, node % self.columns);
                window.clear();
                for r in row.saturating_sub(1)..(row + 2).min(self.rows) {
                    let columns = (0..3).map(|dc| column + self.columns + dc - 1);
                    let around = columns
                        .filter(|c| self.wraps || (self.columns..2 * self.columns).contains(c));
                    window.extend(around.map(|c| values[r * self.columns + c % self.columns]));
                }
                summary(&mut window)
            })
            .collect()
    }
}

/// Cheapest way to each step of a node from those of the node before it.
fn advance(costs: &[f32], before: &[f32], prices: Prices, now: &mut [f32]) {
    let least = before.iter().copied().fold(f32::INFINITY, f32::min);
    for (step, now) in now.iter_mut().enumerate() {
        let mut way = before[step].min(least + prices.jump);
        if step > 0 {
            way = way.min(before[step - 1] + prices.one_step);
        }
        if let Some(above) = before.get(step + 1) {
            way = way.min(above + prices.one_step);
        }
        *now = costs[step] + way - least;
    }
}

fn lowest(costs: &[f32]) -> usize {
    let mut best = 0;
    for (step, cost) in costs.iter().enumerate() {
        if *cost < costs[best] {
            best = step;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_in_the_evidence_is_bridged_by_the_neighbours() {
        let (rows, columns, steps) = (9, 12, 15);
        let mut costs = vec![0.0; rows * columns * steps];
        for node in 0..rows * columns {
            let column = node % columns;
            if !(4..7).contains(&column) {
                costs[node * steps + 6] = -100.0;
            }
        }
        let sheet = Sheet { rows, columns, steps, wraps: true, costs };
        let chosen = sheet.settle(Prices { one_step: 30.0, jump: 90.0 });
        assert!(chosen.iter().all(|s| (s - 6.0).abs() < 1e-6), "{chosen:?}");
    }
}
