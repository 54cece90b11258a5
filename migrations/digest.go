package migrations

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
)

// Digest tells one set of migration files from another: databases migrated by
// files of the same digest have the same schema.
func Digest() (string, error) {
	sum := sha256.New()
	err := fs.WalkDir(files, ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		text, err := files.ReadFile(path)
		if err != nil {
			return err
		}
		part := sha256.Sum256(text)
		sum.Write([]byte(path))
		sum.Write(part[:])
		return nil
	})
	return hex.EncodeToString(sum.Sum(nil)), err
}
