//! The parts of one thing, drawn: whether any fails in a year, and where one does, that year day by day.
//!
//! Parts that are not renewed together do not touch each other, and are drawn as groups of their own: where a seal fails,
//! the motor's bearing is not walked through again. Nothing is allocated while years are drawn.

use std::rc::Rc;

use super::failures::Failure;
use super::{BLOCK, Renewals, Sums, Worlds};
use crate::address::{Address, Id};
use crate::costs::year::{LEVELS, PartCosts, SiteYear, Thing};
use crate::stats::posterior::NODES;
use crate::stats::random::{More, Stream, exponential, threshold};
use crate::stats::renewal_path::{Happens, LifeAt, Position, Walker, without_failures};
use crate::stats::weibull::Weibull;

/// Parts of one thing that are renewed with each other, directly or by others.
pub(super) struct Group<'a> {
    year: &'a SiteYear,
    pub(super) at: &'a Address,
    costs: Vec<&'a PartCosts>,
    /// Its positions, at each level of use.
    levels: Vec<Vec<Position>>,
    /// The level of use of each year, where it matters: the same for all that stands in the thing.
    usage: Option<Rc<[u8]>>,
    /// The luck of each position.
    luck: Vec<Stream>,
    /// The node of each position's kind in each year.
    nodes: Vec<Option<&'a [u8]>>,
    /// Below which word a position fails on the undisturbed path: by level and node, one after the other.
    thresholds: Vec<Vec<u32>>,
    /// The planned renewals of the undisturbed path within the window: labour and parts by level.
    planned: Vec<(f64, f64)>,
    /// Their number by level and position.
    counts: Vec<Vec<f64>>,
    /// Whether there is any.
    plans: bool,
    /// The planned renewals of all years drawn so far, by position.
    renewed: Vec<f64>,
    words: Vec<Vec<u32>>,
    walking: Walking,
}

/// What a walk needs, kept from one to the next.
#[derive(Default)]
struct Walking {
    walker: Walker,
    /// How each position lives, by level and node, from the first walk that needs it.
    known: Vec<Vec<Option<LifeAt>>>,
    lives: Vec<Option<LifeAt>>,
    arrivals: Vec<f64>,
    /// Made only for what fails: starting a stream costs more than all the rest of a walk.
    more: Vec<Option<More>>,
}

/// The level of use of each year.
fn usage(mut stream: Stream, draws: usize) -> Rc<[u8]> {
    let mut least = [0u32; LEVELS.len()];
    let mut sum = 0.0;
    for (least, (_, weight)) in least.iter_mut().zip(LEVELS) {
        *least = threshold(sum);
        sum += weight;
    }
    let mut words = vec![0u32; draws];
    stream.fill(&mut words);
    let level = |word: &u32| least[1..].iter().map(|least| u8::from(*word >= *least)).sum();
    words.iter().map(level).collect()
}

/// The positions of a thing in groups that are renewed together; in each, and among them, in the thing's order.
fn groups(thing: &Thing) -> Vec<Vec<usize>> {
    let count = thing.costs.len();
    let mut group: Vec<usize> = (0..count).collect();
    let Some(positions) = thing.levels.first() else { return Vec::new() };
    for (index, position) in positions.iter().enumerate() {
        for other in &position.together {
            let (one, two) = (group[index].min(group[*other]), group[index].max(group[*other]));
            group.iter_mut().filter(|of| **of == two).for_each(|of| *of = one);
        }
    }
    let of = |first: usize| (0..count).filter(|index| group[*index] == first).collect::<Vec<usize>>();
    (0..count).map(of).filter(|members| !members.is_empty()).collect()
}

impl<'a> Group<'a> {
    /// The groups of a thing.
    pub(super) fn of(year: &'a SiteYear, thing: &'a Thing, worlds: &'a Worlds) -> Vec<Self> {
        let usage =
            (thing.levels.len() > 1).then(|| usage(worlds.stream(&year.id, thing.at.as_str(), "use"), worlds.draws));
        groups(thing).iter().map(|members| Self::new(year, thing, members, usage.clone(), worlds)).collect()
    }

    fn new(
        year: &'a SiteYear,
        thing: &'a Thing,
        members: &[usize],
        usage: Option<Rc<[u8]>>,
        worlds: &'a Worlds,
    ) -> Self {
        let (begins, ends) = (year.window.begins(), year.window.ends());
        let costs: Vec<&PartCosts> = members.iter().map(|member| &thing.costs[*member]).collect();
        let within = |positions: &Vec<Position>| {
            let renumbered = |member: &usize| {
                let mut position = positions[*member].clone();
                position.together =
                    position.together.iter().filter_map(|with| members.iter().position(|of| of == with)).collect();
                position
            };
            members.iter().map(renumbered).collect::<Vec<Position>>()
        };
        let levels: Vec<Vec<Position>> = thing.levels.iter().map(within).collect();
        let mut planned = Vec::with_capacity(levels.len());
        let mut counts = Vec::with_capacity(levels.len());
        let mut thresholds: Vec<Vec<u32>> = vec![Vec::with_capacity(levels.len() * NODES); costs.len()];
        for positions in &levels {
            let mut sums = (0.0, 0.0);
            let mut times = vec![0.0; costs.len()];
            let paths = without_failures(positions, ends, |index, day| {
                if day >= begins {
                    sums.0 += costs[index].labour;
                    sums.1 += costs[index].parts;
                    times[index] += 1.0;
                }
            });
            planned.push(sums);
            counts.push(times);
            for ((path, costs), thresholds) in paths.iter().zip(&costs).zip(&mut thresholds) {
                let of_node = |life: &Weibull| {
                    let hazard: f64 = path.iter().map(|stretch| stretch.hazard(life)).sum();
                    threshold(-(-hazard).exp_m1())
                };
                thresholds.extend(costs.lives.iter().flatten().map(of_node));
            }
        }
        let at = thing.at.as_str();
        Self {
            year,
            at: &thing.at,
            usage,
            luck: costs.iter().map(|costs| worlds.stream(&year.id, at, costs.kind.as_str())).collect(),
            nodes: costs
                .iter()
                .map(|costs| {
                    let nodes = worlds.nodes.get(&costs.kind).map(Vec::as_slice);
                    nodes.filter(|_| costs.lives.is_some())
                })
                .collect(),
            walking: Walking {
                known: thresholds.iter().map(|of| vec![None; of.len()]).collect(),
                ..Walking::default()
            },
            thresholds,
            planned,
            plans: counts.iter().flatten().any(|times| *times > 0.0),
            counts,
            renewed: vec![0.0; costs.len()],
            words: vec![vec![0; BLOCK]; costs.len()],
            levels,
            costs,
        }
    }

    /// The planned renewals of the window, on the average of so many years drawn.
    pub(super) fn renewals(&self, draws: f64) -> impl Iterator<Item = Renewals> {
        let of = move |(costs, times): (&&PartCosts, &f64)| Renewals {
            at: self.at.clone(),
            part: costs.kind.clone(),
            times: times / draws,
        };
        self.costs.iter().zip(&self.renewed).filter(|(_, times)| **times > 0.0).map(of)
    }

    /// Draws a block of years, adding to each what happens in it. In the years of the pump's story in which it gets worse, what it
    /// gets worse with does not fail here. `trace` is told of what failures cost, by kind.
    pub(super) fn draw(
        &mut self,
        first: usize,
        sums: &mut [Sums],
        story: Option<&[bool]>,
        trace: &mut impl FnMut(&Id, usize, &Failure),
    ) {
        let count = sums.len();
        let usage = self.usage.clone();
        let levels = usage.as_deref().map_or(&[0; BLOCK][..count], |usage| &usage[first..first + count]);
        let mut fails = [false; BLOCK];
        for (index, (stream, words)) in self.luck.iter_mut().zip(&mut self.words).enumerate() {
            let Some(nodes) = self.nodes[index] else { continue };
            stream.fill(&mut words[..count]);
            let nodes = &nodes[first..first + count];
            let thresholds = &self.thresholds[index];
            let of_level = thresholds.len() / self.levels.len();
            let story = story.filter(|_| self.costs[index].worsens).unwrap_or(&[false; BLOCK]);
            let years = words.iter().zip(levels.iter().zip(nodes));
            for ((fails, (word, (level, node))), worsens) in fails.iter_mut().zip(years).zip(story) {
                *fails |= !worsens && *word < thresholds[usize::from(*level) * of_level + usize::from(*node)];
            }
        }
        let gets_worse = |draw: usize| story.is_some_and(|story| story[draw]);
        if !self.plans {
            for draw in (0..count).filter(|draw| fails[*draw]) {
                let level = usize::from(levels[draw]);
                self.walk(first, draw, level, &mut sums[draw], gets_worse(draw), trace);
            }
            return;
        }
        let mut quiet = [0u32; LEVELS.len()];
        for (draw, sums) in sums.iter_mut().enumerate() {
            let level = usize::from(levels[draw]);
            if fails[draw] {
                self.walk(first, draw, level, sums, gets_worse(draw), trace);
            } else {
                quiet[level] += 1;
                sums.planned_labour += self.planned[level].0;
                sums.planned_parts += self.planned[level].1;
            }
        }
        for (counts, years) in self.counts.iter().zip(quiet) {
            for (renewed, count) in self.renewed.iter_mut().zip(counts) {
                *renewed += count * f64::from(years);
            }
        }
    }

    /// One year in which something fails, day by day.
    fn walk(
        &mut self,
        first: usize,
        draw: usize,
        level: usize,
        sums: &mut Sums,
        gets_worse: bool,
        trace: &mut impl FnMut(&Id, usize, &Failure),
    ) {
        let Self { year, costs, luck, nodes, words, renewed, walking, levels, .. } = self;
        let (begins, ends) = (year.window.begins(), year.window.ends());
        let Walking { walker, known, lives, arrivals, more } = walking;
        lives.clear();
        arrivals.clear();
        more.clear();
        for (index, costs) in costs.iter().enumerate() {
            let nodes = nodes[index].filter(|_| !(gets_worse && costs.worsens));
            let node = nodes.map(|nodes| usize::from(nodes[first + draw]));
            let life = node.and_then(|node| {
                let of_node = costs.lives.as_ref()?;
                let place = known[index].get_mut(level * of_node.len() + node)?;
                if place.is_none() {
                    *place = Some(LifeAt::new(*of_node.get(node)?, &levels[level][index], ends));
                }
                *place
            });
            arrivals.push(life.map_or(f64::INFINITY, |_| exponential(words[index][draw])));
            lives.push(life);
            more.push(None);
        }
        walker.walk(&levels[level], lives, arrivals, ends, |index, day, what| {
            let of = costs[index];
            if what == Happens::Planned {
                if day >= begins {
                    sums.planned_labour += of.labour;
                    sums.planned_parts += of.parts;
                    renewed[index] += 1.0;
                }
                return 0.0;
            }
            // Its luck is used up in order, whether the day counts or not.
            let more = more[index].get_or_insert_with(|| luck[index].more(first + draw));
            let failure = Failure::drawn(year, of.labour, of.parts, of.damage, of.nights, || more.even());
            if day >= begins {
                failure.add_to(sums);
                trace(&of.kind, draw, &failure);
            }
            more.exponential()
        });
    }
}
