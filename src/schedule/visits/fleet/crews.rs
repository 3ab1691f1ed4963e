//! Who works together, and for which sites.

use std::collections::BTreeMap;

use super::FleetWork;
use crate::schedule::visits::chains::Chain;

/// Technicians of a crew, about.
const CREW: usize = 4;

/// Who works together, and for which sites: few people are one crew; many are dealt into crews that each have every
/// skill some crew needs, and areas go to the crew with the most time left.
pub(super) fn crews(work: &FleetWork) -> Vec<(Vec<usize>, Vec<usize>)> {
    let mut by_area: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (index, site) in work.sites.iter().enumerate() {
        by_area.entry(site.way.area).or_default().push(index);
    }
    let mut people: Vec<usize> = (0..work.technicians.len()).collect();
    people.sort_by_key(|person| {
        (work.technicians[*person].skills.count_ones(), work.technicians[*person].skills, *person)
    });
    // Every skill is in every crew.
    let all_skills = work.technicians.iter().fold(0, |all, t| all | t.skills);
    let rarest = (0..64)
        .filter(|bit| all_skills >> bit & 1 == 1)
        .map(|bit| work.technicians.iter().filter(|t| t.skills >> bit & 1 == 1).count())
        .min()
        .unwrap_or(usize::MAX);
    let count = (people.len() / CREW).min(rarest).max(1);
    let mut crews: Vec<(Vec<usize>, Vec<usize>)> = vec![Default::default(); count];
    for (place, person) in people.into_iter().enumerate() {
        crews[place % count].0.push(person);
    }
    if count > 1
        && crews.iter().any(|(crew, _)| crew.iter().fold(0, |all, p| all | work.technicians[*p].skills) != all_skills)
    {
        crews = vec![((0..work.technicians.len()).collect(), Vec::new())];
    }
    let minutes_of = |person: &usize| work.technicians[*person].minutes.iter().map(|m| u64::from(*m)).sum::<u64>();
    let time: Vec<u64> = crews.iter().map(|(crew, _)| crew.iter().map(minutes_of).sum::<u64>().max(1)).collect();
    let mut load = vec![0u64; crews.len()];
    let need = |site: &usize| {
        let work_of = |chain: &Chain| {
            let times = chain.again.map_or(1.0, |again| work.days as f64 / again.mean_days().max(1.0)).max(1.0);
            (f64::from(chain.minutes) * times) as u64
        };
        work.sites[*site].chains.iter().map(work_of).sum::<u64>() + u64::from(work.sites[*site].way.minutes)
    };
    let mut areas: Vec<(u64, Vec<usize>)> =
        by_area.into_values().map(|sites| (sites.iter().map(need).sum(), sites)).collect();
    areas.sort_by_key(|(minutes, sites)| (std::cmp::Reverse(*minutes), sites[0]));
    for (minutes, sites) in areas {
        let share = |crew: &usize| (load[*crew] + minutes) as f64 / time[*crew] as f64;
        let crew = (0..crews.len()).min_by(|a, b| share(a).total_cmp(&share(b))).unwrap_or(0);
        load[crew] += minutes;
        crews[crew].1.extend(sites);
    }
    crews
}
