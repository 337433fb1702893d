//! Whoever sells parts.

use crate::change::{Card, Column};
use crate::error::ShopError;
use crate::id::VendorId;
use crate::open::{Reader, Write};
use serde::Serialize;

/// What is written of a vendor.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct VendorFields {
    /// The name.
    pub name: String,
    /// How to write to them.
    pub contact: String,
    /// A remark.
    pub note: String,
}

/// A vendor.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Vendor {
    /// Which.
    pub id: VendorId,
    /// What is written of it.
    pub fields: VendorFields,
}

impl Reader<'_> {
    /// All vendors, by name.
    pub fn vendors(&self) -> Result<Vec<Vendor>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, name, contact, note FROM vendors WHERE gone = 0 ORDER BY name, id",
        )?;
        let all = ask
            .query_map([], |r| {
                Ok(Vendor {
                    id: r.get(0)?,
                    fields: VendorFields {
                        name: r.get(1)?,
                        contact: r.get(2)?,
                        note: r.get(3)?,
                    },
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// The vendor of that name; written down where there is none yet.
    pub fn vendor_named(&mut self, name: &str) -> Result<VendorId, ShopError> {
        match self.vendors()?.into_iter().find(|v| v.fields.name == name) {
            Some(v) => Ok(v.id),
            None => self.add_vendor(&VendorFields {
                name: name.to_owned(),
                ..VendorFields::default()
            }),
        }
    }

    /// A new vendor.
    pub fn add_vendor(&mut self, fields: &VendorFields) -> Result<VendorId, ShopError> {
        if fields.name.trim().is_empty() {
            return Err(ShopError::Refused("A vendor has a name.".to_owned()));
        }
        let entry = self.enter(None, &format!("vendor: {}", fields.name.trim()))?;
        Ok(VendorId(self.make(
            entry,
            Card::Vendors,
            &columns(fields),
        )?))
    }

    /// Changes what is written of a vendor.
    pub fn change_vendor(&mut self, id: VendorId, fields: &VendorFields) -> Result<(), ShopError> {
        if fields.name.trim().is_empty() {
            return Err(ShopError::Refused("A vendor has a name.".to_owned()));
        }
        let says = format!("vendor changed: {}", fields.name.trim());
        self.alter(None, Card::Vendors, id.0, &columns(fields), None, &says)?;
        Ok(())
    }
}

fn columns(fields: &VendorFields) -> Vec<Column> {
    vec![
        ("name", fields.name.trim().to_owned().into()),
        ("contact", fields.contact.trim().to_owned().into()),
        ("note", fields.note.trim().to_owned().into()),
    ]
}
