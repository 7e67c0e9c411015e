//! The list of cases: filtered and paged where it is read.

/// Reads the data block `cases`; ids in it hold no character that HTML knows.
pub(super) const SCRIPT: &str = "
(function(){
var rows=JSON.parse(document.getElementById('cases').textContent),page=0,size=50,
 words=['done','scan refused','plan refused','unfinished'],shown=rows,
 body=document.getElementById('list-body'),say=document.getElementById('list-say'),
 find=document.getElementById('find'),pick=document.getElementById('pick');
function cell(tr,text,left){var td=document.createElement('td');td.textContent=text;if(left)td.className='t';tr.appendChild(td);return td}
function draw(){
 body.textContent='';
 shown.slice(page*size,page*size+size).forEach(function(r){
  var tr=document.createElement('tr');cell(tr,r[0]);
  var td=cell(tr,'',true);
  if(r[2]===3){td.textContent=r[1]}else{var a=document.createElement('a');a.href='../cases/'+r[3]+'/'+r[1]+'/'+r[4];a.textContent=r[1];td.appendChild(a)}
  cell(tr,words[r[2]],true);for(var i=5;i<r.length;i++)cell(tr,r[i]);
  body.appendChild(tr)});
 var last=Math.max(0,Math.ceil(shown.length/size)-1);
 say.textContent=shown.length+' cases, page '+(page+1)+' of '+(last+1);
 document.getElementById('prev').disabled=page===0;document.getElementById('next').disabled=page>=last}
function sift(){
 var text=find.value.toLowerCase(),kind=pick.value;page=0;
 shown=rows.filter(function(r){return r[1].toLowerCase().indexOf(text)>=0&&(kind===''||String(r[2])===kind)});draw()}
find.oninput=sift;pick.onchange=sift;
document.getElementById('prev').onclick=function(){page--;draw()};
document.getElementById('next').onclick=function(){page++;draw()};
draw()})();
";
