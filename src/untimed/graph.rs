//! Strongly connected components.

use petgraph::algo::kosaraju_scc;
use petgraph::graph::{DiGraph, NodeIndex};

/// The strongly connected components of a graph, each after all that it leads to.
pub(super) fn components(nodes: usize, edges: impl IntoIterator<Item = (u32, u32)>) -> Vec<Vec<u32>> {
    let mut graph = DiGraph::<(), ()>::with_capacity(nodes, 0);
    (0..nodes).for_each(|_| {
        graph.add_node(());
    });
    graph.extend_with_edges(edges);
    let groups = kosaraju_scc(&graph);
    let members = |group: Vec<NodeIndex>| {
        let mut members: Vec<u32> = group.iter().map(|node| node.index() as u32).collect();
        members.sort_unstable();
        members
    };
    groups.into_iter().map(members).collect()
}

/// The components of a graph in which a way leads back to where it began.
pub(super) fn rings(nodes: usize, edges: impl Iterator<Item = (u32, u32)> + Clone) -> Vec<Vec<u32>> {
    let mut selves = vec![false; nodes];
    for (from, to) in edges.clone() {
        selves[from as usize] |= from == to;
    }
    let mut groups = components(nodes, edges);
    groups.retain(|group| group.len() > 1 || selves[group[0] as usize]);
    groups
}
