package store

import (
	"bytes"
	"cmp"
	"slices"
	"sort"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// maxKnown bounds the readings held in memory to recognise duplicates by.
const maxKnown = 1 << 18

// weekCache holds, for the weeks that were asked about, what is kept with own
// times. Live readings never ask: each is later than all before it.
type weekCache struct {
	known map[sensorWeek]*knownWeek
	size  int
}

type sensorWeek struct {
	sensor uint32
	week   int32
}

// knownWeek are one sensor's readings of one week, ordered by own time.
type knownWeek struct {
	readings []ownReading
	tail     int // where those begin that were added since the last sort
}

type ownReading struct {
	at    int64
	value float64
}

// judge says which of the group's readings are duplicates or conflicts, by
// what is kept and by what stands earlier in the group, and counts those to be
// kept. db.owners holds the readings' sensors.
func (db *DB) judge(group []light.Reading, fates []light.Fate) (suspects bool, kept int, err error) {
	var doubtful []int
	for i := range group {
		if group[i].Mark&light.OwnTime == 0 {
			continue
		}
		if at, x := group[i].At.UnixNano(), db.owners[i]; at > x.newestOwn {
			x.newestOwn = at
		} else {
			doubtful = append(doubtful, i)
		}
	}
	kept = len(group)
	if len(doubtful) == 0 {
		return false, kept, nil
	}
	if err := db.recall(group, doubtful); err != nil {
		return true, 0, err
	}
	type ownTime struct {
		sensor uint32
		at     int64
	}
	earlier := make(map[ownTime][]float64, len(group))
	for i := range group {
		if group[i].Mark&light.OwnTime == 0 {
			continue
		}
		own, value := ownTime{db.owners[i].id, group[i].At.UnixNano()}, group[i].Value
		if len(doubtful) > 0 && doubtful[0] == i {
			doubtful = doubtful[1:]
			before := earlier[own]
			same := slices.Contains(before, value)
			other := len(before) > 0
			week := db.weeks.known[sensorWeek{own.sensor, weekOf(own.at)}]
			for _, k := range week.at(own.at) {
				same = same || k.value == value
				other = true
			}
			if same {
				fates[i] = light.Duplicate
				kept--
				continue
			}
			if other {
				fates[i] = light.Conflicting
			}
		}
		earlier[own] = append(earlier[own], value)
	}
	return true, kept, nil
}

// recall reads the weeks in which the doubtful readings fall, unless they are
// held already.
func (db *DB) recall(group []light.Reading, doubtful []int) error {
	missing := map[sensorWeek]*knownWeek{}
	for _, i := range doubtful {
		key := sensorWeek{db.owners[i].id, weekOf(group[i].At.UnixNano())}
		if db.weeks.known[key] == nil && missing[key] == nil {
			missing[key] = &knownWeek{}
		}
	}
	if len(missing) == 0 {
		return nil
	}
	if err := db.sound(); err != nil {
		return err
	}
	err := db.view(func(tx *bolt.Tx) error {
		blocks := tx.Bucket(bucketBlocks).Cursor()
		for key, week := range missing {
			if err := week.addBlocks(blocks, key); err != nil {
				return err
			}
		}
		return addGroups(tx.Bucket(bucketGroups).Cursor(), missing)
	})
	if err != nil {
		return err
	}
	if db.weeks.known == nil {
		db.weeks.known = map[sensorWeek]*knownWeek{}
	}
	for key, week := range missing {
		week.sort()
		db.weeks.known[key] = week
		db.weeks.size += len(week.readings)
	}
	return nil
}

// addBlocks adds what the packed blocks hold of the week.
func (w *knownWeek) addBlocks(blocks *bolt.Cursor, key sensorWeek) error {
	var c columns
	prefix := blockKey(key.sensor, key.week, 0)[:blockKeySize-2]
	for k, v := blocks.Seek(prefix); bytes.HasPrefix(k, prefix); k, v = blocks.Next() {
		c.reset()
		if err := readBlock(k, v, &c); err != nil {
			return err
		}
		for i, mark := range c.mark {
			if mark&light.OwnTime != 0 {
				w.readings = append(w.readings, ownReading{c.at[i], c.value[i]})
			}
		}
	}
	return nil
}

// addGroups adds what the groups that are not packed yet hold of the weeks.
func addGroups(groups *bolt.Cursor, weeks map[sensorWeek]*knownWeek) error {
	for k, v := groups.First(); k != nil; k, v = groups.Next() {
		g, err := readGroup(k, v)
		if err != nil {
			return err
		}
		for g.next() {
			if g.mark&light.OwnTime == 0 {
				continue
			}
			if week := weeks[sensorWeek{g.sensor, weekOf(g.at)}]; week != nil {
				week.readings = append(week.readings, ownReading{g.at, g.value})
			}
		}
		if g.err != nil {
			return g.err
		}
	}
	return nil
}

// add takes the committed readings of a group into the weeks that are held.
func (c *weekCache) add(group []light.Reading, fates []light.Fate, owners []*sensor) {
	touched := map[*knownWeek]bool{}
	for i := range group {
		if group[i].Mark&light.OwnTime == 0 || fates[i] == light.Duplicate {
			continue
		}
		at := group[i].At.UnixNano()
		if week := c.known[sensorWeek{owners[i].id, weekOf(at)}]; week != nil {
			week.readings = append(week.readings, ownReading{at, group[i].Value})
			touched[week] = true
			c.size++
		}
	}
	if c.size > maxKnown {
		*c = weekCache{}
		return
	}
	for week := range touched {
		week.sort()
	}
}

// at lists the readings kept with this own time.
func (w *knownWeek) at(at int64) []ownReading {
	if w == nil {
		return nil
	}
	first := sort.Search(len(w.readings), func(i int) bool { return w.readings[i].at >= at })
	last := first
	for last < len(w.readings) && w.readings[last].at == at {
		last++
	}
	return w.readings[first:last]
}

// sort brings what was added to its place: readings come in order or nearly
// so, and then this moves little.
func (w *knownWeek) sort() {
	byTime := func(a, b ownReading) int { return cmp.Compare(a.at, b.at) }
	tail := w.readings[w.tail:]
	slices.SortFunc(tail, byTime)
	if w.tail > 0 && len(tail) > 0 && tail[0].at < w.readings[w.tail-1].at {
		// Merge from the back, with the tail set aside.
		tail = slices.Clone(tail)
		i, j := w.tail-1, len(tail)-1
		for k := len(w.readings) - 1; j >= 0; k-- {
			if i >= 0 && w.readings[i].at > tail[j].at {
				w.readings[k] = w.readings[i]
				i--
			} else {
				w.readings[k] = tail[j]
				j--
			}
		}
	}
	w.tail = len(w.readings)
}
