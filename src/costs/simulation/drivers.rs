//! Where does the spread of a year's total come from? Each kind's share of the variance, and how much of it is that its
//! lives are not known better. It must not change what is drawn: it only looks on.
//!
//! What failures cost is kept by draw, so that sites quoted together are added up year by year like their totals.

use std::collections::BTreeMap;

use super::failures::Failure;
use super::{Driver, Terms, Worlds};
use crate::address::Id;
use crate::records::customers::Scope;
use crate::stats::posterior::NODES;

/// What the failures of each kind cost in each year drawn, in minor units, as a scope bears them.
#[derive(Debug, Clone, Default)]
pub struct Trace {
    /// By kind, `None` what no part explains: a draw each.
    amounts: BTreeMap<Option<Id>, Vec<f64>>,
}

impl Trace {
    /// Adds another site's, year by year.
    pub fn add(&mut self, other: Self) {
        if self.amounts.is_empty() {
            *self = other;
            return;
        }
        for (kind, amounts) in other.amounts {
            let sums = self.amounts.entry(kind).or_default();
            sums.resize(sums.len().max(amounts.len()), 0.0);
            for (sum, amount) in sums.iter_mut().zip(amounts) {
                *sum += amount;
            }
        }
    }

    /// What the spread of the totals comes from, the largest share first: what each kind's failures cost against the total
    /// (their covariance), and how far the total's mean moves with the kind's distribution. `totals` are the sums of the same
    /// sites in the same draws; where they do not differ there is nothing to tell.
    pub fn drivers(&self, totals: &[i64], worlds: &Worlds) -> Vec<Driver> {
        // Differences from the first total, lest digits be lost.
        let origin = totals.first().copied().unwrap_or_default();
        let totals: Vec<f64> = totals.iter().map(|total| (total - origin) as f64).collect();
        let n = totals.len().max(1) as f64;
        let mean = totals.iter().sum::<f64>() / n;
        let variance = totals.iter().map(|total| (total - mean).powi(2)).sum::<f64>() / n;
        if variance <= 0.0 {
            return Vec::new();
        }
        let mut drivers: Vec<Driver> = self
            .amounts
            .iter()
            .map(|(kind, amounts)| {
                let covariance =
                    amounts.iter().zip(&totals).map(|(amount, total)| amount * (total - mean)).sum::<f64>() / n;
                let nodes = kind.as_ref().and_then(|kind| worlds.nodes.get(kind));
                let not_known = nodes.map_or(0.0, |nodes| between(nodes, &totals, mean, variance) / variance);
                Driver { what: kind.clone(), share: covariance / variance, not_known }
            })
            .collect();
        drivers.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.what.cmp(&b.what)));
        drivers
    }
}

/// The variance of the mean total between the distributions that a kind's lives may have.
fn between(nodes: &[u8], totals: &[f64], mean: f64, variance: f64) -> f64 {
    let mut by_node = vec![(0.0, 0.0); NODES];
    for (node, total) in nodes.iter().zip(totals) {
        let of_node: &mut (f64, f64) = &mut by_node[usize::from(*node)];
        of_node.0 += 1.0;
        of_node.1 += total;
    }
    let n = totals.len().max(1) as f64;
    let filled: Vec<&(f64, f64)> = by_node.iter().filter(|of| of.0 > 0.0).collect();
    let between = filled.iter().map(|of| of.0 * (of.1 / of.0 - mean).powi(2)).sum::<f64>() / n;
    // Means of a few draws differ by chance alone, by so much.
    (between - (filled.len() as f64 - 1.0) / n * variance).max(0.0)
}

/// Keeps what failures cost while a site's years are drawn; nothing where no scope is traced.
pub(super) struct Tracer<'a> {
    kinds: &'a [&'a Id],
    terms: Terms,
    scope: Option<Scope>,
    /// The draw at which the block begins.
    first: usize,
    /// By kind, the last what no part explains.
    amounts: Vec<Vec<f64>>,
}

impl<'a> Tracer<'a> {
    pub(super) fn new(kinds: &'a [&'a Id], draws: usize, terms: &Terms) -> Self {
        let kept = if terms.traced.is_some() { kinds.len() + 1 } else { 0 };
        Self { kinds, terms: *terms, scope: terms.traced, first: 0, amounts: vec![vec![0.0; draws]; kept] }
    }

    pub(super) fn begin(&mut self, first: usize) {
        self.first = first;
    }

    pub(super) fn add(&mut self, kind: &Id, draw: usize, failure: &Failure) {
        let Some(scope) = self.scope else { return };
        if let Ok(index) = self.kinds.binary_search(&kind) {
            self.amounts[index][self.first + draw] += failure.borne(scope, &self.terms);
        }
    }

    pub(super) fn add_unexplained(&mut self, draw: usize, failure: &Failure) {
        let Some(scope) = self.scope else { return };
        if let Some(amounts) = self.amounts.last_mut() {
            amounts[self.first + draw] += failure.borne(scope, &self.terms);
        }
    }

    /// What was kept, at the prices of the year.
    pub(super) fn trace(self) -> Trace {
        let mut trace = Trace::default();
        let kinds = self.kinds.iter().map(|kind| Some((*kind).clone())).chain([None]);
        for (kind, mut amounts) in kinds.zip(self.amounts) {
            for amount in &mut amounts {
                *amount *= self.terms.index;
            }
            trace.amounts.insert(kind, amounts);
        }
        trace
    }
}
