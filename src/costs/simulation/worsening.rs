//! Pumps that may go on failing more and more often, drawn: in which years they do, and how often they fail then.

use super::failures::Failure;
use super::{BLOCK, Sums, Tracer, Worlds};
use crate::address::Address;
use crate::costs::year::{GettingWorse, SiteYear};
use crate::stats::random::{Stream, even};

/// One such pump.
pub(super) struct Worsens<'a> {
    pump: &'a GettingWorse,
    /// Which of two stories each year is of.
    stories: Stream,
    luck: Stream,
    story: Vec<bool>,
    words: Vec<u32>,
}

impl<'a> Worsens<'a> {
    /// Those of a site.
    pub(super) fn of(year: &'a SiteYear, worlds: &Worlds) -> Vec<Self> {
        let of = |pump: &'a GettingWorse| {
            let stream = |of| worlds.stream(&year.id, pump.at.as_str(), of);
            let (stories, luck) = (stream("whether it gets worse"), stream("failures that come closer together"));
            Self { pump, stories, luck, story: Vec::with_capacity(BLOCK), words: vec![0; BLOCK] }
        };
        year.getting_worse.iter().map(of).collect()
    }

    pub(super) fn is_of(&self, at: &Address) -> bool {
        self.pump.at == *at
    }

    /// Draws in which years of a block it gets worse.
    pub(super) fn draw_story(&mut self, count: usize) {
        self.stories.fill(&mut self.words[..count]);
        self.story.clear();
        self.story.extend(self.words[..count].iter().map(|word| even(*word) < self.pump.chance));
    }

    /// In which years of the block it gets worse.
    pub(super) fn story(&self) -> &[bool] {
        &self.story
    }

    /// Adds its failures in those years, found by inversion of the one word of the draw.
    pub(super) fn draw(&mut self, year: &SiteYear, first: usize, sums: &mut [Sums], tracer: &mut Tracer) {
        let Self { pump, luck, story, words, .. } = self;
        luck.fill(&mut words[..sums.len()]);
        for (draw, sums) in sums.iter_mut().enumerate().filter(|(draw, _)| story[*draw]) {
            let share = even(words[draw]);
            let number = pump.at_most.partition_point(|sum| *sum < share);
            if number > 0 {
                let mut more = luck.more(first + draw);
                for _ in 0..number {
                    let failure =
                        Failure::drawn(year, pump.labour, pump.parts, pump.damage, pump.nights, || more.even());
                    failure.add_to(sums);
                    tracer.add_unexplained(draw, &failure);
                }
            }
        }
    }
}
