package book

import (
	"context"
	"database/sql"
	"encoding/json"
)

const partColumns = "name, file, sha256, bytes, modified, made_of, made"

func insertPart(ctx context.Context, tx *sql.Tx, revision string, place int, p Part) error {
	made, modified := "", ""
	if len(p.Made) > 0 {
		data, err := json.Marshal(p.Made)
		if err != nil {
			return err
		}
		made = string(data)
	}
	if !p.Modified.IsZero() {
		modified = when(p.Modified)
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO parts(revision, place, "+partColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
		revision, place, p.Name, p.File, p.SHA256, p.Bytes, modified, p.MadeOf, made)
	return err
}

func scanPart(rs *sql.Rows) (p Part, err error) {
	var modified, made string
	if err := rs.Scan(&p.Name, &p.File, &p.SHA256, &p.Bytes, &modified, &p.MadeOf, &made); err != nil {
		return p, err
	}
	if modified != "" {
		if p.Modified, err = parseWhen(modified); err != nil {
			return p, err
		}
	}
	if made != "" {
		err = json.Unmarshal([]byte(made), &p.Made)
	}
	return p, err
}
