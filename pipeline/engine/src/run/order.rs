//! Which query waits for which, and in what order they run.

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::header::Role;

use super::Run;
use crate::base_tables;
use crate::catalog::Query;

impl<'e> Run<'e> {
    /// A view is computed as a part of what names it: what it reads has to be there by then.
    pub(super) fn note_what_it_reads(&mut self, query: &Query) {
        let is_view = |name: &String| {
            let mut all = self.queries.iter();
            all.any(|query| query.name == *name && query.header.role == Role::View)
        };
        let behind = query
            .names
            .iter()
            .filter(|name| is_view(name))
            .filter_map(|name| self.reads.get(name));
        let reads = behind.flatten().chain(&query.names).cloned().collect();
        self.reads.insert(query.name.clone(), reads);
    }

    /// Whether a query still waits for another.
    pub(super) fn waits(&self, query: &Query) -> bool {
        let reads = self.reads.get(&query.name);
        reads.is_some_and(|reads| reads.iter().any(|name| self.waiting.contains(name)))
    }

    /// Queries that are not yet done and read the rows of one.
    fn readers(&self, name: &str) -> impl Iterator<Item = &String> {
        let of = move |other: &&String| {
            let reads = self.reads.get(*other);
            reads.is_some_and(|reads| reads.contains(name))
        };
        self.waiting.iter().filter(of)
    }

    /// Of each query that is not yet done the bytes of intermediate results that end with it, those that others wait for
    /// too shared out among them, and with the queries that it leads to.
    pub(super) fn gives_back(&self) -> BTreeMap<&'e str, usize> {
        let mut gives: BTreeMap<&'e str, usize> = BTreeMap::new();
        let ends = |name: &String| {
            let mut all = self.queries.iter();
            all.any(|query| query.name == *name && query.header.role != Role::Table)
        };
        let queries = self.queries.iter().copied().rev();
        for query in queries.filter(|query| self.waiting.contains(&query.name)) {
            let reads = self.reads.get(&query.name).into_iter().flatten();
            let own: usize = reads
                .filter(|name| ends(name))
                .map(|name| self.engine.held(name) / self.readers(name).count().max(1))
                .sum();
            let leads_to = self
                .readers(&query.name)
                .filter_map(|other| gives.get(other.as_str()));
            let most = leads_to.max().copied().unwrap_or(0);
            gives.insert(&query.name, own + most);
        }
        gives
    }

    /// A query of the study that names another which failed.
    pub(super) fn lacks_input(&self, query: &Query) -> Option<String> {
        let stands = |name: &str| {
            self.queries.iter().any(|other| other.name == name)
                || base_tables::NAMES.contains(&name)
        };
        let refused = self.catalog.refused().iter();
        let refused = refused.filter(|refused| !stands(&refused.name));
        let (name, why) = refused
            .map(|refused| (&refused.name, &refused.message))
            .chain(&self.faults)
            .find(|(name, _)| query.names.contains(*name))?;
        query.own.then(|| {
            let message = format!("needs `{name}`, which failed: {why}");
            query.source().error(message).to_string()
        })
    }

    /// The queries of the program with those that they need, and the others.
    pub(super) fn phases(&self) -> (Vec<&'e Query>, Vec<&'e Query>) {
        let mut needed = BTreeSet::new();
        for query in self.queries.iter().copied().rev() {
            if !query.own || needed.contains(&query.name) {
                needed.insert(query.name.clone());
                needed.extend(query.names.iter().cloned());
            }
        }
        let all = self.queries.iter().copied();
        let waiting = all.filter(|query| self.waiting.contains(&query.name));
        waiting.partition(|query| needed.contains(&query.name))
    }
}
