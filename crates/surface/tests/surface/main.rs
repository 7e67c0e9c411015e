//! What the surfaces promise, on bodies whose answers are known.

mod accuracy;
mod bodies;
mod edits;
mod files;
mod queries;
mod topology;
