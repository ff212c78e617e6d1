//! The tables that the ledger speaks of.

/// Calls an async function of a type parameter for the entity of every table with ledger lines, one after
/// the other: `every_table!(hold(book))` is `hold::<accession::Model>(book).await?; …`.
macro_rules! every_table {
    ($call:ident($argument:expr)) => {
        every_table!(@ $call, $argument, accession, adoption, amendment, amendment_answer, animal, assessment, birth, check, climate_rule, concern, concern_step,
            crate_reading, death, device, device_batch, enclosure, encounter, encounter_animal, encounter_limit,
            enrichment_item, enrichment_offer, enrichment_term, ethogram, feed, feed_plan, food, grant, group,
            holding, life_state, litter, litter_change, litter_parent, loan, mark,
            membership, merge, mistake, paper, parent, partner_search, partner_term, person, placement, proposal, proposal_answer, protocol, sexing, site, standard, taxon, taxon_name, taxon_trait, growth_reference,
            title, transfer,
            transfer_step, upset, watch, watch_event, weight)
    };
    (@ $call:ident, $argument:expr, $($entity:ident),*) => {
        $($call::<crate::entity::$entity::Model>($argument).await?;)*
    };
}

pub(super) use every_table;
