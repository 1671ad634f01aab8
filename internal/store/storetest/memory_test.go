package storetest_test

import (
	"testing"

	"belay/internal/store"
	"belay/internal/store/storetest"
)

func TestMemory(t *testing.T) {
	storetest.Run(t, func(*testing.T) storetest.Log { return storetest.NewMemory() })
}

func TestSQLite(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Log {
		log, err := store.Open(t.TempDir() + "/log.db")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := log.Close(); err != nil {
				t.Error(err)
			}
		})
		return log
	})
}
