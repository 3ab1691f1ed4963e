//! Where does the spread of a year's total come from? Each kind's share of the variance, and how much of it is that its
//! lives are not known better. It must not change what is drawn: it only looks on.

use super::failures::Failure;
use super::{Driver, Terms, Worlds};
use crate::address::Id;

/// Traces a total's spread: what each kind's failures cost against the total (their covariance), and how far the total's
/// mean moves with the kind's distribution.
pub(super) struct Tracer<'a> {
    kinds: Vec<&'a Id>,
    nodes: Vec<Option<&'a [u8]>>,
    terms: Terms,
    /// By kind, the last what no part explains: this block's amounts.
    amounts: Vec<Vec<f64>>,
    /// Sums over all draws: amount, amount × total.
    products: Vec<(f64, f64)>,
    /// By kind and node: draws, sum of totals.
    by_node: Vec<Vec<(f64, f64)>>,
    draws: f64,
    sum: f64,
    squares: f64,
    /// The first total: sums are taken of differences from it, lest digits be lost.
    origin: Option<f64>,
}

impl<'a> Tracer<'a> {
    pub(super) fn new(kinds: &[&'a Id], worlds: &'a Worlds, terms: &Terms) -> Self {
        Self {
            kinds: kinds.to_vec(),
            nodes: kinds.iter().map(|id| worlds.nodes.get(*id).map(Vec::as_slice)).collect(),
            terms: *terms,
            amounts: vec![Vec::new(); kinds.len() + 1],
            products: vec![(0.0, 0.0); kinds.len() + 1],
            by_node: vec![vec![(0.0, 0.0); crate::stats::posterior::NODES]; kinds.len()],
            draws: 0.0,
            sum: 0.0,
            squares: 0.0,
            origin: None,
        }
    }

    pub(super) fn begin(&mut self, count: usize) {
        for amounts in &mut self.amounts {
            amounts.clear();
            amounts.resize(count, 0.0);
        }
    }

    pub(super) fn add(&mut self, kind: &Id, draw: usize, failure: &Failure) {
        if let Ok(index) = self.kinds.binary_search(&kind) {
            self.amounts[index][draw] += failure.borne(&self.terms);
        }
    }

    pub(super) fn add_unexplained(&mut self, draw: usize, failure: &Failure) {
        let borne = failure.borne(&self.terms);
        if let Some(amounts) = self.amounts.last_mut() {
            amounts[draw] += borne;
        }
    }

    /// The traced totals of a block whose first draw is given.
    pub(super) fn totals(&mut self, first: usize, totals: &[f64]) {
        let Some(start) = totals.first() else { return };
        let origin = *self.origin.get_or_insert(*start);
        for total in totals {
            let total = total - origin;
            self.draws += 1.0;
            self.sum += total;
            self.squares += total * total;
        }
        for (amounts, (sum, product)) in self.amounts.iter().zip(&mut self.products) {
            for (amount, total) in amounts.iter().zip(totals) {
                *sum += amount;
                *product += amount * (total - origin);
            }
        }
        for (nodes, by_node) in self.nodes.iter().zip(&mut self.by_node) {
            let Some(nodes) = nodes else { continue };
            for (node, total) in nodes[first..].iter().zip(totals) {
                let of_node = &mut by_node[usize::from(*node)];
                of_node.0 += 1.0;
                of_node.1 += total - origin;
            }
        }
    }

    pub(super) fn drivers(&self) -> Vec<Driver> {
        let n = self.draws.max(1.0);
        let mean = self.sum / n;
        let variance = self.squares / n - mean * mean;
        if variance <= 0.0 {
            return Vec::new();
        }
        let mut drivers: Vec<Driver> = Vec::new();
        for (index, (sum, product)) in self.products.iter().enumerate() {
            let not_known = self.by_node.get(index).map_or(0.0, |by_node| {
                let filled: Vec<&(f64, f64)> = by_node.iter().filter(|of| of.0 > 0.0).collect();
                let between: f64 = filled.iter().map(|of| of.0 * (of.1 / of.0 - mean).powi(2)).sum::<f64>() / n;
                // Means of a few draws differ by chance alone, by so much.
                (between - (filled.len() as f64 - 1.0) / n * variance).max(0.0) / variance
            });
            let share = (product / n - sum / n * mean) / variance;
            drivers.push(Driver { what: self.kinds.get(index).map(|id| (*id).clone()), share, not_known });
        }
        drivers.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.what.cmp(&b.what)));
        drivers
    }
}
