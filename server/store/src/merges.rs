//! Merges: which record was found to be of which animal.

use crate::access::permit::{Caller, Permit};
use crate::corrections::{self, rows_where};
use crate::doors::{Snapshot, Tx};
use crate::entity::{litter_parent, merge};
use crate::error::Error;
use crate::facts::fact;
use crate::model::fact::{FactKind, Version};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use serde_json::{Map, json};
use uuid::Uuid;

/// What is moved from one record to the other: what ends other facts comes last.
pub const KINDS: [FactKind; 15] = [
    FactKind::Birth,
    FactKind::Sex,
    FactKind::Parent,
    FactKind::Accession,
    FactKind::Holding,
    FactKind::Title,
    FactKind::Loan,
    FactKind::Placement,
    FactKind::Membership,
    FactKind::Mark,
    FactKind::Paper,
    FactKind::Weight,
    FactKind::Assessment,
    FactKind::ToldApart,
    FactKind::Death,
];

/// Records a merge.
///
/// # Errors
/// [`Error::Broken`] where the record was given up already.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    gone: Uuid,
    keep: Uuid,
    because: &str,
) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = fact!(
        tx,
        merge::Model {
            id: id,
            animal_id: gone,
            site_id: permit.site().id,
            into_id: keep,
            because: because.to_owned(),
        }
    );
    tx.insert(&[row]).await?;
    Ok(id)
}

/// The young of the record that is given up become young of the other, and so do records that were given up
/// for it: as far as they are the caller's to change. The rest still leads to it.
///
/// # Errors
/// [`Error::Contention`] where somebody changed one meanwhile.
pub async fn point(tx: &mut Tx, caller: &Caller, gone: Uuid, keep: Uuid, why: &str) -> Result<(), Error> {
    let young = "parent_id = $1 AND superseded_at IS NULL";
    for parent in rows_where(tx, FactKind::Parent, young, vec![gone.into()]).await? {
        let own = caller.sees(parent.site());
        if own && parent.uuid("animal_id") != Some(keep) {
            let to = Map::from_iter([("parent_id".to_owned(), json!(keep))]);
            corrections::replace(tx, &parent, &to, why).await?;
        }
    }
    let earlier = merge::Entity::find()
        .filter(merge::Column::IntoId.eq(gone))
        .filter(merge::Column::SupersededAt.is_null())
        .all(tx.txn())
        .await?;
    for one in earlier {
        repoint(tx, one, keep, why).await?;
    }
    Ok(())
}

/// The litters of the record that is given up become litters of the other, likewise.
///
/// # Errors
/// [`Error::Contention`] where somebody changed the parents of one meanwhile.
pub async fn point_litters(
    tx: &mut Tx,
    caller: &Caller,
    gone: Uuid,
    keep: Uuid,
    why: &str,
) -> Result<(), Error> {
    let of = |parent: Uuid| {
        litter_parent::Entity::find()
            .filter(litter_parent::Column::ParentId.eq(parent))
            .filter(litter_parent::Column::SupersededAt.is_null())
    };
    let known = of(keep).all(tx.txn()).await?;
    for old in of(gone).all(tx.txn()).await? {
        if !caller.sees(old.site_id) {
            continue;
        }
        tx.supersede::<litter_parent::Entity>(old.id, why).await?;
        if !known.iter().any(|row| row.litter_id == old.litter_id && row.kind == old.kind) {
            put_parent(tx, litter_parent::Model { parent_id: keep, ..old }).await?;
        }
    }
    Ok(())
}

/// Whether the parents of a litter that a merge changed were changed again since.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn litters_changed_since(snapshot: &Snapshot, request: Uuid) -> Result<bool, Error> {
    let later = litter_parent::Entity::find()
        .filter(litter_parent::Column::RequestId.eq(request))
        .filter(litter_parent::Column::SupersededAt.is_not_null());
    Ok(later.one(snapshot.txn()).await?.is_some())
}

/// Gives litters the parents that they had before a merge.
///
/// # Errors
/// [`Error::Contention`] where somebody changed them meanwhile.
pub async fn restore_litters(tx: &mut Tx, request: Uuid, why: &str) -> Result<(), Error> {
    let rows = litter_parent::Entity::find();
    for new in rows.clone().filter(litter_parent::Column::RequestId.eq(request)).all(tx.txn()).await? {
        tx.supersede::<litter_parent::Entity>(new.id, why).await?;
    }
    for old in rows.filter(litter_parent::Column::SupersededIn.eq(request)).all(tx.txn()).await? {
        put_parent(tx, old).await?;
    }
    Ok(())
}

async fn put_parent(tx: &mut Tx, like: litter_parent::Model) -> Result<(), Error> {
    let row = fact!(
        tx,
        litter_parent::Model {
            id: tx.new_id(),
            litter_id: like.litter_id,
            site_id: like.site_id,
            parent_id: like.parent_id,
            kind: like.kind,
            share: like.share,
            because: like.because,
        }
    );
    tx.insert(&[row]).await
}

/// A merge into an animal that stands.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn standing(snapshot: &Snapshot, keep: Uuid, id: Uuid) -> Result<Option<merge::Model>, Error> {
    Ok(merge::Entity::find()
        .filter(merge::Column::IntoId.eq(keep))
        .filter(merge::Column::Id.eq(id))
        .filter(merge::Column::SupersededAt.is_null())
        .one(snapshot.txn())
        .await?)
}

/// Ends a merge. Records that had been given up for the one that was given up are that one's again.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn end(tx: &mut Tx, merge: &merge::Model, why: &str) -> Result<(), Error> {
    tx.supersede_of::<merge::Entity>(merge.animal_id, merge.id, why).await?;
    let pointed = merge::Entity::find()
        .filter(merge::Column::IntoId.eq(merge.into_id))
        .filter(merge::Column::RequestId.eq(merge.request_id))
        .filter(merge::Column::SupersededAt.is_null())
        .all(tx.txn())
        .await?;
    for one in pointed {
        repoint(tx, one, merge.animal_id, why).await?;
    }
    Ok(())
}

async fn repoint(tx: &mut Tx, one: merge::Model, to: Uuid, why: &str) -> Result<(), Error> {
    tx.supersede_of::<merge::Entity>(one.animal_id, one.id, why).await?;
    let row = fact!(
        tx,
        merge::Model {
            id: tx.new_id(),
            animal_id: one.animal_id,
            site_id: one.site_id,
            into_id: to,
            because: one.because,
        }
    );
    tx.insert(&[row]).await
}

/// What a merge wrote of the two animals, and of the young of the one that was given up.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn written_in(
    snapshot: &Snapshot,
    keep: Uuid,
    gone: Uuid,
    request: Uuid,
) -> Result<Vec<Version>, Error> {
    in_request(snapshot, [keep, gone], keep, "request_id", request).await
}

/// What a merge superseded of them.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn superseded_in(
    snapshot: &Snapshot,
    keep: Uuid,
    gone: Uuid,
    request: Uuid,
) -> Result<Vec<Version>, Error> {
    in_request(snapshot, [keep, gone], gone, "superseded_in", request).await
}

async fn in_request(
    snapshot: &Snapshot,
    animals: [Uuid; 2],
    parent: Uuid,
    column: &str,
    request: Uuid,
) -> Result<Vec<Version>, Error> {
    let mut found = Vec::new();
    for kind in KINDS {
        let condition = format!("animal_id = ANY ($1) AND {column} = $2");
        found.extend(
            rows_where(snapshot, kind, &condition, vec![animals.to_vec().into(), request.into()]).await?,
        );
    }
    let young = format!("parent_id = $1 AND {column} = $2");
    for one in rows_where(snapshot, FactKind::Parent, &young, vec![parent.into(), request.into()]).await? {
        if !found.iter().any(|known| known.id() == one.id()) {
            found.push(one);
        }
    }
    Ok(found)
}
