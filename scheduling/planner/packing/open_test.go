package packing

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

func nums(t testing.TB, name string) []int64 {
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var out []int64
	for _, f := range strings.Fields(string(b)) {
		v, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

func TestScratch(t *testing.T) {
	dir := "/work/shared/data/"
	f, _ := os.Open(dir + "bin-packing/optima.tsv")
	sc := bufio.NewScanner(f)
	sc.Scan()
	filter := os.Getenv("SET")
	for sc.Scan() {
		p := strings.Split(sc.Text(), "\t")
		if !strings.Contains(p[0]+"/"+p[1], filter) || os.Getenv("V") == "only" {
			continue
		}
		v := nums(t, filepath.Join(dir, "bin-packing", p[0], p[1]+".txt"))
		pr := &Problem{Capacity: []int64{v[1]}}
		for _, s := range v[2:] {
			pr.Items = append(pr.Items, Item{[]int64{s}, 1})
		}
		run(t, p[0]+"/"+p[1], pr, p[4])
	}
	f, _ = os.Open(dir + "vector-packing/optima.tsv")
	sc = bufio.NewScanner(f)
	sc.Scan()
	for sc.Scan() {
		p := strings.Split(sc.Text(), "\t")
		if !strings.Contains(p[0], filter) || os.Getenv("V") == "" {
			continue
		}
		v := nums(t, filepath.Join(dir, "vector-packing", p[0]))
		d := int(v[0])
		pr := &Problem{Capacity: v[1 : 1+d]}
		for i := 2 + d; i < len(v); i += d + 1 {
			for k := range d {
				v[i+k] = max(v[i+k], 0)
			}
			pr.Items = append(pr.Items, Item{v[i : i+d], int(v[i+d])})
		}
		run(t, p[0], pr, p[1])
	}
}

func run(t *testing.T, name string, pr *Problem, opt string) {
	begin := time.Now()
	r, err := Solve(context.Background(), pr, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	took := time.Since(begin)
	o, _ := strconv.Atoi(opt)
	flag := ""
	if r.Bound > o || r.Bins < o {
		flag = "WRONG"
	} else if !r.Proved() {
		flag = "OPEN"
	} else if took > 3*time.Second {
		flag = "SLOW"
	}
	fmt.Printf("%-40s %7.3f s  %d..%d opt %s work %d M %+v %s\n", name, took.Seconds(), r.Bound, r.Bins, opt, r.Work/1000000, r.Effort, flag)
}
