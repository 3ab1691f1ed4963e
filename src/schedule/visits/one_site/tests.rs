use proptest::prelude::*;

use super::*;

/// The cheapest way found by trying every set of visits and every way to put the jobs on them.
fn by_trying_all(problem: &Problem) -> Option<f64> {
    let nodes = problem.nodes;
    let mut best: Option<f64> = None;
    for set in 0u32..1 << nodes.len() {
        let chosen: Vec<usize> = (0..nodes.len()).filter(|n| set >> n & 1 == 1).collect();
        if chosen.windows(2).any(|two| nodes[two[0]].day == nodes[two[1]].day) {
            continue;
        }
        let ways: f64 = chosen.iter().map(|n| nodes[*n].cost).sum();
        put(problem, &chosen, 0, &mut vec![Vec::new(); nodes.len()], ways, &mut best);
    }
    best
}

fn put(problem: &Problem, chosen: &[usize], job: usize, on: &mut Vec<Vec<usize>>, cost: f64, best: &mut Option<f64>) {
    if best.is_some_and(|best| cost >= best)
        && problem.jobs[job..].iter().all(|j| j.cost_on(j.first).min(j.cost_on(j.last)) >= 0.0)
    {
        return;
    }
    if job == problem.jobs.len() {
        *best = Some(best.map_or(cost, |best| best.min(cost)));
        return;
    }
    let wanted = &problem.jobs[job];
    for node in chosen {
        let visit = &problem.nodes[*node];
        if !(wanted.first..=wanted.last).contains(&visit.day) || wanted.skills & !visit.skills != 0 {
            continue;
        }
        on[*node].push(job);
        let minutes: u32 = on[*node].iter().map(|j| problem.jobs[*j].minutes).sum();
        let room =
            on[*node].iter().map(|j| problem.access[problem.jobs[*j].access][visit.day]).min().unwrap().min(visit.room);
        if minutes <= room {
            put(problem, chosen, job + 1, on, cost + wanted.cost_on(visit.day), best);
        }
        on[*node].pop();
    }
}

fn nodes() -> impl Strategy<Value = Vec<Node>> {
    prop::collection::vec((0usize..9, 0usize..2, 1u32..40, 30u32..150, 0u64..4), 3..8).prop_map(|drawn| {
        let mut nodes: Vec<Node> = drawn
            .into_iter()
            .map(|(day, technician, cost, room, skills)| Node { day, technician, cost: f64::from(cost), room, skills })
            .collect();
        nodes.sort_by_key(|n| (n.day, n.technician));
        nodes.dedup_by_key(|n| (n.day, n.technician));
        nodes
    })
}

fn jobs() -> impl Strategy<Value = Vec<Job>> {
    let job = (0usize..9, 0usize..6, 10u32..80, prop::bool::weighted(0.3), 0usize..2, 0u32..20, -4i32..5);
    prop::collection::vec(job, 1..6).prop_map(|drawn| {
        drawn
            .into_iter()
            .map(|(first, length, minutes, skilled, access, cost, slope)| Job {
                first,
                last: (first + length).min(8),
                minutes,
                skills: u64::from(skilled),
                access,
                cost: f64::from(cost) + 40.0,
                slope: f64::from(slope),
                anchor: first,
            })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn one_site_is_as_cheap_as_the_best_of_all_ways(
        nodes in nodes(),
        jobs in jobs(),
        closed in prop::collection::vec(prop::bool::weighted(0.2), 9),
    ) {
        let list = closed.iter().map(|closed| if *closed { 0 } else { 120 }).collect();
        let access = vec![vec![240; 9], list];
        let problem = Problem { nodes: &nodes, jobs: &jobs, access: &access, most_steps: 100_000 };
        let tried = by_trying_all(&problem);
        let found = problem.solve();
        prop_assert_eq!(found.is_some(), tried.is_some());
        if let (Some(found), Some(tried)) = (found, tried) {
            prop_assert!((found.cost - tried).abs() < 1e-6, "{} against {}", found.cost, tried);
            prop_assert!((found.bound - found.cost).abs() < 1e-6);
            // The answer is what it says: nothing outside its window, without its skill, or beyond the room.
            let mut cost = 0.0;
            for (job, node) in jobs.iter().zip(&found.node_of) {
                let visit = &nodes[*node];
                prop_assert!((job.first..=job.last).contains(&visit.day) && problem.fits(job, visit));
                cost += job.cost_on(visit.day);
            }
            let mut used = found.node_of.clone();
            used.sort_unstable();
            used.dedup();
            for node in used {
                let on: Vec<&Job> = jobs.iter().zip(&found.node_of).filter(|(_, n)| **n == node).map(|(j, _)| j).collect();
                let least = on.iter().map(|j| access[j.access][nodes[node].day]).min().unwrap();
                prop_assert!(on.iter().map(|j| j.minutes).sum::<u32>() <= nodes[node].room.min(least));
                cost += nodes[node].cost;
            }
            prop_assert!((cost - found.cost).abs() < 1e-6);
            prop_assert!(problem.lower_bound().unwrap() <= tried + 1e-9);
        }
    }
}
