//! tmp
#![allow(clippy::all, clippy::pedantic)]
use std::time::Instant;
use tubtrail_lineage::*;
fn rss()->usize{ let s=std::fs::read_to_string("/proc/self/statm").unwrap(); s.split(' ').nth(1).unwrap().parse::<usize>().unwrap()*4096 }
struct R(u64); impl R{fn n(&mut self)->u64{self.0=self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);let mut z=self.0;z=(z^(z>>30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);z=(z^(z>>27)).wrapping_mul(0x94d0_49bb_1331_11eb);z^(z>>31)} fn b(&mut self,e:usize)->usize{(self.n()%e as u64)as usize}}
fn main(){
  let target:usize=std::env::args().nth(1).map_or(1_000_000,|s|s.parse().unwrap());
  let mut r=R(1); let before=rss(); let t=Instant::now();
  let mut g=Graph::new();
  for _ in 0..200 {g.add_received_lot(1_000_000_000);}
  // batch: ~4.4 uses, ~3.3 lots out; uses of recent lots mostly
  let mut late=0; let mut refused=0;
  while g.lots()<target {
    let b=g.add_batch();
    let n=g.lots();
    for _ in 0..2+r.b(6){ let w=if r.b(10)==0 {n} else {n.min(3000)}; let l=LotIx::from_index((n-1-r.b(w)) as u32); g.add_use(l,b,1+r.b(1_000_000) as i64).unwrap(); }
    for _ in 0..1+r.b(6){ g.add_made_lot(b,1+r.b(1_000_000) as i64); }
    if r.b(10)==0 {g.add_received_lot(10_000_000);}
    if r.b(20)==0 { let l=LotIx::from_index(r.b(g.lots()) as u32); let w=g.batches().min(2000); let b=BatchIx::from_index((g.batches()-1-r.b(w)) as u32); late+=1; if g.add_use(l,b,5).is_err(){refused+=1;} }
  }
  println!("lots {} batches {} uses {} late {late} refused {refused} built in {:?}; bytes/lot {:.1}",g.lots(),g.batches(),g.uses(),t.elapsed(),(rss()-before) as f64/g.lots() as f64);
  // static CSR
  let nl=g.lots(); let nb=g.batches();
  let mut lo=vec![0u32]; let mut lt=vec![]; for l in 0..nl { for (b,_) in g.uses_of(LotIx::from_index(l as u32)) {lt.push(b.index());} lo.push(lt.len() as u32);}
  let mut bo=vec![0u32]; let mut bt=vec![]; for b in 0..nb { for l in g.outputs(BatchIx::from_index(b as u32)) {bt.push(l.index());} bo.push(bt.len() as u32);}
  let mut s=Scratch::new();
  let mut pick:Vec<u32>=vec![5,(nl/2) as u32,(nl*9/10) as u32,(nl*99/100) as u32, (nl*999/1000) as u32];
  pick.push((nl-2000) as u32);
  let mut sl=vec![0u32;nl]; let mut sb=vec![0u32;nb]; let mut ep=0; let mut q:Vec<u32>=Vec::new();
  for p in pick { let seed=[LotIx::from_index(p)];
    let mut a=f64::MAX; let mut c=f64::MAX; let mut d=f64::MAX; let mut o=f64::MAX; let mut n=0; let mut on=0;
    for _ in 0..5 {
      let t=Instant::now(); n=g.forward(&mut s,&seed).len(); a=a.min(t.elapsed().as_secs_f64());
      let t=Instant::now(); ep+=1; q.clear(); q.push(p); sl[p as usize]=ep; let mut i=0; while i<q.len(){ let l=q[i] as usize; i+=1; for &b in &lt[lo[l] as usize..lo[l+1] as usize]{ if sb[b as usize]==ep {continue;} sb[b as usize]=ep; for &x in &bt[bo[b as usize] as usize..bo[b as usize+1] as usize]{ if sl[x as usize]!=ep {sl[x as usize]=ep;q.push(x);} } } }
      c=c.min(t.elapsed().as_secs_f64()); assert_eq!(q.len(),n);
      let t=Instant::now(); g.shares(&mut s,&seed); d=d.min(t.elapsed().as_secs_f64());
      let t=Instant::now(); on=g.origins(&mut s,LotIx::from_index(p)).len(); o=o.min(t.elapsed().as_secs_f64());
    }
    println!("from {p}: {n} lots; forward {:.3} ms, csr {:.3} ms ({:.2}x), shares {:.3} ms; origins {on} lots {:.3} ms",a*1e3,c*1e3,a/c,d*1e3,o*1e3);
  }
  // worst-case loop checks
  let t=Instant::now(); let mut loops=0; for _ in 0..200 { let l=LotIx::from_index(r.b(nl) as u32); let b=BatchIx::from_index(r.b(nb) as u32); if g.would_loop(&mut s,l,b).is_some(){loops+=1;} }
  println!("200 random would_loop: {:?}, {loops} loops", t.elapsed());
}
