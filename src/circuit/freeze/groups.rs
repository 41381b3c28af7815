//! Groups of nodes that are one net: a forest in which each tree is a group.

#[derive(Default)]
pub(super) struct Groups {
    parents: Vec<u32>,
    /// For each root, a node of its group that is a rail.
    rails: Vec<Option<u32>>,
}

impl Groups {
    pub(super) fn len(&self) -> usize {
        self.parents.len()
    }

    /// A new node, in a group of its own.
    pub(super) fn add(&mut self, is_rail: bool) -> u32 {
        let node = self.parents.len() as u32;
        self.parents.push(node);
        self.rails.push(is_rail.then_some(node));
        node
    }

    /// The node that stands for the group: its oldest one. The way there gets shorter with each call.
    pub(super) fn root(&mut self, node: u32) -> usize {
        let mut node = node as usize;
        while self.parents[node] as usize != node {
            let above = self.parents[node] as usize;
            self.parents[node] = self.parents[above];
            node = self.parents[node] as usize;
        }
        node
    }

    /// Joins two groups under the older node. Returns the rails of both, when they were two groups with rails.
    pub(super) fn join(&mut self, a: u32, b: u32) -> Option<(u32, u32)> {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return None;
        }
        let rails = self.rails[a].zip(self.rails[b]);
        let (older, younger) = (a.min(b), a.max(b));
        self.parents[younger] = older as u32;
        self.rails[older] = self.rails[older].or(self.rails[younger]);
        rails
    }
}
